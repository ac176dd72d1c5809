"""Whether a picture on a card is all there, from what its own header says; no picture is decoded.

At dawn the card is still at hand: a frame that was cut short on it is told now, not years later.
"""

from __future__ import annotations

from typing import BinaryIO

from archive.formats.boxes import overhang
from archive.formats.container import Completeness, Kind, completeness, jpeg_ends, kind_of
from archive.formats.fileview import FileView
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
    stream : an open file; only headers are read, and the last part of a JPEG.
    """
    try:
        data = FileView(stream)
        kind = kind_of(data)
        if kind is Kind.JPEG:
            return None if _jpeg_ends(data) else "its picture data has no end: the file was cut"
        if data[4:8] == b"ftyp":
            known, missing = True, overhang(stream)
        else:
            found = completeness(data, kind) if kind else Completeness(known=False)
            known, missing = found.known, found.missing
        if not known and role is Role.RAW and 0 < len(data) < _LEAST_RAW:
            return f"{len(data)} bytes are too few for a raw picture: the file was cut"
    except (OSError, ValueError):
        # The copying meets the same fault and reports it; only this look at the file is not had.
        return None
    return f"its picture data ends {missing} bytes short: the file was cut" if missing > 0 else None


def _jpeg_ends(data: FileView) -> bool:
    """Small files are walked; of large ones only the end is looked at, or each would be read twice."""
    if len(data) <= _WHOLE_JPEG:
        return jpeg_ends(data[:])
    return _END_OF_JPEG in data[len(data) - _JPEG_TAIL :]
