"""Whether a picture on a card is all there, from what its own header says; no picture is decoded.

At dawn the card is still at hand: a frame that was cut short on it is told now, not years later.
"""

from __future__ import annotations

import mmap
from typing import BinaryIO

from archive.formats.boxes import overhang
from archive.formats.container import Completeness, Kind, completeness, jpeg_ends, kind_of
from archive.model.capture import Role

_WHOLE_JPEG = 1 << 20
_JPEG_TAIL = 256 << 10
_END_OF_JPEG = b"\xff\xd9"
_LEAST_RAW = 20_000
"""Bytes: the smallest raw file met, of a camera of 1996, has 52 506."""


def damage(stream: BinaryIO, role: Role) -> str | None:
    """What is wrong with a picture or raw file, in words; None where nothing is seen to be.

    Parameters
    ----------
    stream : an open file with a descriptor; only headers are read, and the last part of a JPEG.
    """
    try:
        with mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as data:
            kind = kind_of(data)
            if kind is Kind.JPEG:
                return None if _jpeg_ends(data) else "its picture data has no end: the file was cut"
            if data[4:8] == b"ftyp":
                known, missing = True, overhang(stream)
            else:
                found = completeness(data, kind) if kind else Completeness(known=False)
                known, missing = found.known, found.missing
            if not known and role is Role.RAW and len(data) < _LEAST_RAW:
                return f"{len(data)} bytes are too few for a raw picture: the file was cut"
    except (OSError, ValueError):
        # What cannot be mapped is copied all the same; only this look at it is not had.
        return None
    return f"its picture data ends {missing} bytes short: the file was cut" if missing > 0 else None


def _jpeg_ends(data: mmap.mmap) -> bool:
    """Small files are walked; of large ones only the end is looked at, or each would be read twice."""
    if len(data) <= _WHOLE_JPEG:
        return jpeg_ends(data)
    return data.rfind(_END_OF_JPEG, len(data) - _JPEG_TAIL) >= 0
