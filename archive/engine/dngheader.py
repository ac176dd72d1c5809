"""A DNG's own words about its colours around a tiny mosaic, for LibRaw to explain; in the worker.

LibRaw tells levels, matrices and balance only after it has unpacked a picture. Asking it about a copy of the
directories with a few samples in them gives the same answers in a thousandth of the time.
"""

from __future__ import annotations

import struct

from archive.engine import dng
from archive.engine.dng import Entry, Layout

_SIDE = 64
_SHORT, _LONG = 3, 4
_LARGEST = 1 << 16
_CROP_ORIGIN, _CROP_SIZE, _CROP_USER, _PRIVATE = 50719, 50720, 51125, 50740
_EXIF, _GPS, _XMP, _IPTC, _MAKERS_NOTE = 34665, 34853, 700, 33723, 37500
# Where the picture lies, what points elsewhere, and what says nothing of levels and colours.
_LEFT_OUT = {
    dng.CHILDREN, dng.STRIPS, dng.STRIP_BYTES, dng.STRIP_ROWS, dng.TILES, dng.TILE_BYTES, dng.TILE_WIDTH,
    dng.TILE_HEIGHT, _CROP_ORIGIN, _CROP_SIZE, _CROP_USER, _PRIVATE, _EXIF, _GPS, _XMP, _IPTC, _MAKERS_NOTE,
}  # fmt: skip

_TIME, _THUMBNAIL_BYTES, _BASELINE_EXPOSURE, _RAW_ID, _NAME, _NOISE, _DIGEST = (
    306, 514, 50730, 50781, 50827, 51041, 51111,
)  # fmt: skip
_PER_FRAME = {
    _TIME, _THUMBNAIL_BYTES, _BASELINE_EXPOSURE, _RAW_ID, _NAME, _NOISE, _DIGEST, dng.AS_SHOT_NEUTRAL,
}  # fmt: skip


def header_copy(layout: Layout) -> bytes:
    """A whole small DNG: the directories of this one around a mosaic of 64 × 64 samples and its margins."""
    order = layout.raw.order
    top, left = layout.top & 1, layout.left & 1
    width, height = _SIDE + left, _SIDE + top
    raw = {tag: entry for tag, entry in layout.raw.entries.items() if _kept(tag, entry)}
    raw |= {
        dng.WIDTH: _number(order, width), dng.HEIGHT: _number(order, height), dng.BITS: _number(order, 16),
        dng.COMPRESSION: _number(order, 1), dng.STRIP_ROWS: _number(order, height),
        dng.STRIP_BYTES: _number(order, 2 * width * height), dng.STRIPS: _number(order, 0),
    }  # fmt: skip
    if dng.ACTIVE_AREA in raw:
        area = struct.pack(order + "4I", top, left, height, width)
        raw[dng.ACTIVE_AREA] = Entry(kind=_LONG, count=4, data=area)
    picture = bytes(2 * width * height)
    if layout.first is layout.raw:
        size = len(_written(order, raw, 8))
        raw[dng.STRIPS] = _number(order, 8 + size)
        return _head(order) + _written(order, raw, 8) + picture
    first = {tag: entry for tag, entry in layout.first.entries.items() if _kept(tag, entry)}
    first[dng.CHILDREN] = _number(order, 0)
    second_at = 8 + len(_written(order, first, 8))
    first[dng.CHILDREN] = _number(order, second_at)
    raw[dng.STRIPS] = _number(order, second_at + len(_written(order, raw, second_at)))
    return _head(order) + _written(order, first, 8) + _written(order, raw, second_at) + picture


def _kept(tag: int, entry: Entry) -> bool:
    return tag not in _LEFT_OUT and len(entry.data) <= _LARGEST


def _head(order: str) -> bytes:
    return (b"II" if order == "<" else b"MM") + struct.pack(order + "HI", 42, 8)


def _number(order: str, value: int) -> Entry:
    return Entry(kind=_LONG, count=1, data=struct.pack(order + "I", value))


def _written(order: str, entries: dict[int, Entry], at: int) -> bytes:
    """A directory and its values, to lie at a place in the file."""
    after = at + 2 + 12 * len(entries) + 4
    lines, values = b"", b""
    for tag, entry in sorted(entries.items()):
        line = struct.pack(order + "HHI", tag, entry.kind, entry.count)
        if len(entry.data) <= 4:
            lines += line + entry.data.ljust(4, b"\0")
        else:
            lines += line + struct.pack(order + "I", after + len(values))
            values += entry.data + b"\0" * (len(entry.data) & 1)
    return struct.pack(order + "H", len(entries)) + lines + struct.pack(order + "I", 0) + values


def signature(layout: Layout) -> tuple[object, ...]:
    """What files of one camera and setting have in common: all of both directories but the picture's place.

    What changes from frame to frame, and cannot change how samples are read, is left out.
    """
    changing = _LEFT_OUT | _PER_FRAME
    parts: list[object] = [layout.raw.order]
    for directory in (layout.first, layout.raw):
        parts += [
            (tag, entry.kind, entry.count, entry.data)
            for tag, entry in sorted(directory.entries.items())
            if tag not in changing
        ]
    sizes = {(piece.width, piece.height) for piece in layout.pieces}
    return (*parts, layout.width, layout.height, len(layout.pieces), frozenset(sizes))
