"""Small files with EXIF, ISO media or TIFF headers, made byte by byte for tests."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from fractions import Fraction

Value = str | bytes | int | Fraction | tuple[int, int] | list[tuple[int, int]] | list[int]

EXIF_POINTER, GPS_POINTER = 0x8769, 0x8825
# Directories below the first lie behind this many zeros, so that their pointers are long values.
FAR = 0x10000


def _packed(value: Value) -> tuple[int, int, bytes]:
    if isinstance(value, str):
        data = value.encode() + b"\0"
        return 2, len(data), data
    if isinstance(value, bytes):
        return 7, len(value), value
    if isinstance(value, int):
        return (4, 1, struct.pack("<I", value)) if value > 0xFFFF else (3, 1, struct.pack("<H", value))
    if isinstance(value, Fraction):
        return 5, 1, struct.pack("<II", value.numerator, value.denominator)
    if isinstance(value, tuple):
        return 5, 1, struct.pack("<II", *value)
    if value and isinstance(value[0], tuple):
        return 5, len(value), b"".join(struct.pack("<II", *pair) for pair in value)  # type: ignore[misc]
    return 3, len(value), b"".join(struct.pack("<H", item) for item in value)


def _directory(entries: Mapping[int, Value], start: int) -> bytes:
    head, tail = struct.pack("<H", len(entries)), b""
    behind = start + 2 + 12 * len(entries) + 4
    for number, value in sorted(entries.items()):
        kind, count, data = _packed(value)
        if len(data) <= 4:
            field = data.ljust(4, b"\0")
        else:
            field = struct.pack("<I", behind + len(tail))
            tail += data + b"\0" * (len(data) % 2)
        head += struct.pack("<HHI", number, kind, count) + field
    return head + struct.pack("<I", 0) + tail


def tiff(
    image: Mapping[int, Value],
    exif: Mapping[int, Value] | None = None,
    gps: Mapping[int, Value] | None = None,
) -> bytes:
    """A little-endian TIFF with a first, an EXIF and a GPS directory, and no pixels."""
    below = [(EXIF_POINTER, exif), (GPS_POINTER, gps)]
    first = dict(image) | {pointer: FAR for pointer, entries in below if entries is not None}
    at = 8 + len(_directory(first, 8)) + FAR
    parts = b""
    for pointer, entries in below:
        if entries is not None:
            first[pointer] = at
            part = _directory(entries, at)
            parts += part
            at += len(part)
    return b"II*\0" + struct.pack("<I", 8) + _directory(first, 8) + bytes(FAR) + parts


def box(kind: bytes, content: bytes = b"") -> bytes:
    """An ISO base media box."""
    return struct.pack(">I", 8 + len(content)) + kind + content


def movie(seconds: int, *, version: int = 0) -> bytes:
    """A movie without frames whose header was made so many seconds after 1904."""
    times = struct.pack(">QQ" if version else ">II", seconds, seconds)
    header = struct.pack(">I", version << 24) + times + bytes(80)
    return box(b"ftyp", b"isom\0\0\0\0") + box(b"free", b"x") + box(b"moov", box(b"mvhd", header))
