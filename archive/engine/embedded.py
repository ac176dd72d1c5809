"""The JPEG previews that cameras put into their raw files: where they lie and how large they are.

Only containers of the TIFF family (DNG and most makers' own) and RAF say so in a directory; for previews in
makers' notes and in other containers LibRaw is asked.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from archive.formats.container import (
    COMPRESSION,
    STRIP_BYTES,
    STRIPS,
    Data,
    Directory,
    jpeg_ends,
    tiff_directories,
)

_OLD_JPEG, _JPEG = 6, 7
_JPEG_AT, _JPEG_BYTES = 513, 514
_FUJI, _FUJI_PLACE = b"FUJIFILMCCD-RAW", 84
_FRAMES = {0xC0, 0xC1, 0xC2}
"""Start of frame, Huffman-coded DCT (ITU-T T.81, table B.1); the lossless ones hold sensor data."""


@dataclass(frozen=True, kw_only=True)
class Preview:
    """A JPEG inside a file: its bytes, and its width and height as stored."""

    data: bytes
    width: int
    height: int


def previews(data: Data) -> Iterator[Preview]:
    """The whole JPEGs that a raw file's directories name, the smallest first."""
    places = ((start, start + length) for start, length in _named(data))
    told = (preview_in(data[start:end]) for start, end in places if 0 < start < end <= len(data))
    for each in sorted(filter(None, told), key=lambda each: each.width * each.height):
        # A large one is gone through only when it is asked for.
        if jpeg_ends(each.data):
            yield each


def _named(data: Data) -> Iterator[tuple[int, int]]:
    directories = tiff_directories(data)
    if directories is not None:
        for each in directories:
            yield from _in_directory(each)
    elif data[: len(_FUJI)] == _FUJI and len(data) > _FUJI_PLACE + 8:
        yield struct.unpack(">II", data[_FUJI_PLACE : _FUJI_PLACE + 8])


def _in_directory(directory: Directory) -> Iterator[tuple[int, int]]:
    strips, lengths = directory.tags.get(STRIPS, ()), directory.tags.get(STRIP_BYTES, ())
    if directory.first(COMPRESSION) in (_OLD_JPEG, _JPEG) and len(strips) == len(lengths) == 1:
        yield strips[0], lengths[0]
    if _JPEG_AT in directory.tags and _JPEG_BYTES in directory.tags:
        yield directory.first(_JPEG_AT), directory.first(_JPEG_BYTES)


def preview_in(data: bytes) -> Preview | None:
    """What these bytes begin to show, if they are a JPEG of three 8-bit channels."""
    if data[:2] != b"\xff\xd8":
        return None
    place = 2
    while place + 10 <= len(data) and data[place] == 0xFF:
        marker = data[place + 1]
        if marker in _FRAMES:
            bits, height, width, channels = struct.unpack_from(">BHHB", data, place + 4)
            whole = (bits, channels) == (8, 3) and width and height
            return Preview(data=data, width=width, height=height) if whole else None
        if marker == 0xFF:
            place += 1
        elif marker == 0xDA:
            return None
        else:
            place += 2 + int.from_bytes(data[place + 2 : place + 4], "big")
    return None
