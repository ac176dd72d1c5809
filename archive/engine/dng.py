"""Read the mosaic of an uncompressed or losslessly compressed DNG without LibRaw; in the worker.

Everything unusual is left to LibRaw: what is read here is only ever used in place of what LibRaw answers, so
a file that gives the slightest doubt gives None. The names of tags are those of TIFF 6.0 and DNG 1.4.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Mosaic = npt.NDArray[np.uint16]

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_CODES = {1: "B", 3: "H", 4: "I", 13: "I"}
_MAX_DIRECTORIES, _MAX_ENTRIES, _MAX_SAMPLES = 16, 512, 400_000_000
SUBFILE, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 254, 256, 257, 258, 259, 262
STRIPS, SAMPLES, STRIP_ROWS, STRIP_BYTES, PREDICTOR = 273, 277, 278, 279, 317
TILE_WIDTH, TILE_HEIGHT, TILES, TILE_BYTES, CHILDREN = 322, 323, 324, 325, 330
CFA_SIZE, CFA, CFA_COLOURS, CFA_LAYOUT = 33421, 33422, 50710, 50711
DNG_VERSION, LINEARISATION, AS_SHOT_NEUTRAL, ACTIVE_AREA, MASKED_AREAS = 50706, 50712, 50728, 50829, 50830
_FILL_ORDER, _COLOUR_FILTER, _NONE, _JPEG = 266, 32803, 1, 7
_EXIF, _ISO_SPEED = 34665, 34855
_RAW_KINDS = (_COLOUR_FILTER, 34892)


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One value of a TIFF directory as it lies in the file."""

    kind: int
    count: int
    data: bytes


@dataclass(frozen=True)
class Directory:
    """One TIFF directory: tag → value, and the byte order they are written in."""

    order: str
    entries: dict[int, Entry]

    def numbers(self, tag: int) -> tuple[int, ...]:
        """A tag's whole numbers; none when it is absent or no whole numbers."""
        entry = self.entries.get(tag)
        if entry is None or entry.kind not in _CODES:
            return ()
        return struct.unpack(f"{self.order}{entry.count}{_CODES[entry.kind]}", entry.data)

    def number(self, tag: int, default: int) -> int:
        values = self.numbers(tag)
        return values[0] if values else default


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One strip or tile: where its bytes lie and which rectangle of the mosaic it fills."""

    start: int
    length: int
    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, kw_only=True)
class Layout:
    """How a DNG's mosaic is stored, and what its own tags say of its colours.

    ``pattern`` is the colour (0 red, 1 green, 2 blue) at the four places from the corner of the active area,
    which is ``top`` rows and ``left`` columns from the mosaic's. ``misread`` marks what LibRaw (0.22) opens
    without complaint and reads wrongly; there the samples here are right.
    """

    first: Directory
    raw: Directory
    width: int
    height: int
    bits: int
    compressed: bool
    pieces: tuple[Piece, ...]
    pattern: tuple[int, int, int, int]
    top: int
    left: int

    @property
    def misread(self) -> bool:
        across = self.pieces[0].width
        if TILES not in self.raw.entries:
            return self.compressed and len(self.pieces) > 1
        return across > self.width or (self.compressed and 2 * across == self.width)


def layout_of(data: bytes) -> Layout | None:
    """How the mosaic lies in a DNG; None for any other file and for every kind of DNG not read here."""
    try:
        directories = _directories(data)
        return _layout(directories, len(data)) if directories else None
    except (struct.error, ValueError, IndexError):
        return None


def is_dng(data: bytes) -> bool:
    """Whether these bytes begin as a DNG does, with directories that can be read."""
    return bool(raw_first(data))


def raws(data: bytes) -> list[Directory]:
    """The directories of a DNG's mosaics and linear samples; none of any other file."""
    return [each for each in raw_first(data) if each.number(PHOTOMETRIC, 0) in _RAW_KINDS]


def raw_first(data: bytes) -> list[Directory]:
    """The directories of a DNG, those of mosaics and linear samples first; none of any other file."""
    try:
        directories = _directories(data)
    except (struct.error, ValueError):
        return []
    if not directories or DNG_VERSION not in directories[0].entries:
        return []
    return sorted(directories, key=lambda each: each.number(PHOTOMETRIC, 0) not in _RAW_KINDS)


def _directories(data: bytes) -> list[Directory]:
    order = {b"II*\x00": "<", b"MM\x00*": ">"}.get(data[:4])
    if order is None:
        return []
    found: list[Directory] = []
    waiting = [int(struct.unpack_from(order + "I", data, 4)[0])]
    seen: set[int] = set()
    while waiting:
        offset = waiting.pop(0)
        if offset == 0:
            continue
        if offset in seen or len(found) == _MAX_DIRECTORIES:
            raise ValueError("directories lead in a circle")
        seen.add(offset)
        directory, end = _directory(data, order, offset)
        found.append(directory)
        waiting += directory.numbers(CHILDREN)
        waiting.append(struct.unpack_from(order + "I", data, end)[0])
    return found


def iso_speed(data: bytes, layout: Layout) -> float | None:
    """The ISO speed that a DNG states in one plain number (Exif tag 34855); None for anything else."""
    try:
        exif, _ = _directory(data, layout.first.order, layout.first.number(_EXIF, len(data)))
    except (struct.error, ValueError):
        return None
    stated = exif.numbers(_ISO_SPEED)
    # The largest number says that the speed is told elsewhere (Exif 2.3).
    return float(stated[0]) if len(stated) == 1 and 0 < stated[0] < 65535 else None


def _directory(data: bytes, order: str, offset: int) -> tuple[Directory, int]:
    """The directory that begins at a place, and where its entries end."""
    (count,) = struct.unpack_from(order + "H", data, offset)
    if count > _MAX_ENTRIES:
        raise ValueError("a directory is too long")
    place = offset + 2
    entries = {}
    for at in range(place, place + 12 * count, 12):
        tag, kind, number = struct.unpack_from(order + "HHI", data, at)
        size = _SIZES.get(kind, 0) * number
        start = at + 8 if size <= 4 else int(struct.unpack_from(order + "I", data, at + 8)[0])
        if size == 0 or start + size > len(data):
            raise ValueError("a value lies outside the file")
        entries[tag] = Entry(kind=kind, count=number, data=bytes(data[start : start + size]))
    return Directory(order, entries), place + 12 * count


def _layout(directories: list[Directory], size: int) -> Layout | None:
    first = directories[0]
    raws = [each for each in directories if each.number(PHOTOMETRIC, 0) == _COLOUR_FILTER]
    version = first.numbers(DNG_VERSION)
    # Before version 1.1 a difference of 16 bits was written otherwise.
    if len(raws) != 1 or version < (1, 1) or AS_SHOT_NEUTRAL not in first.entries:
        return None
    raw = raws[0]
    plain = (
        (SUBFILE, 0), (SAMPLES, 1), (PREDICTOR, 1), (_FILL_ORDER, 1), (CFA_LAYOUT, 1),
    )  # fmt: skip
    if any(raw.number(tag, usual) != usual for tag, usual in plain):
        return None
    if LINEARISATION in raw.entries or MASKED_AREAS in raw.entries:
        return None
    width, height, bits = raw.number(WIDTH, 0), raw.number(HEIGHT, 0), raw.number(BITS, 0)
    compression = raw.number(COMPRESSION, 0)
    if compression not in (_NONE, _JPEG) or not 8 <= bits <= 16 or not 0 < width * height <= _MAX_SAMPLES:
        return None
    pieces = _pieces(raw, width, height)
    pattern = _pattern(raw)
    if pieces is None or pattern is None or any(each.start + each.length > size for each in pieces):
        return None
    corner = raw.numbers(ACTIVE_AREA) or (0, 0)
    return Layout(
        first=first, raw=raw, width=width, height=height, bits=bits, compressed=compression == _JPEG,
        pieces=pieces, pattern=pattern, top=corner[0], left=corner[1],
    )  # fmt: skip


def _pattern(raw: Directory) -> tuple[int, int, int, int] | None:
    pattern = raw.entries.get(CFA)
    if pattern is None or raw.numbers(CFA_SIZE) != (2, 2) or raw.numbers(CFA_COLOURS) not in ((), (0, 1, 2)):
        return None
    if sorted(pattern.data) != [0, 1, 1, 2]:
        return None
    one, two, three, four = pattern.data
    return (one, two, three, four) if one == four == 1 or two == three == 1 else None


def _pieces(raw: Directory, width: int, height: int) -> tuple[Piece, ...] | None:
    tiled = TILES in raw.entries
    starts = raw.numbers(TILES if tiled else STRIPS)
    lengths = raw.numbers(TILE_BYTES if tiled else STRIP_BYTES)
    across = raw.number(TILE_WIDTH, 0) if tiled else width
    down = raw.number(TILE_HEIGHT, 0) if tiled else min(raw.number(STRIP_ROWS, height), height)
    if across < 1 or down < 1 or across * down > _MAX_SAMPLES:
        return None
    corners = [(left, top) for top in range(0, height, down) for left in range(0, width, across)]
    if len(corners) != len(starts) or len(starts) != len(lengths):
        return None
    return tuple(
        Piece(
            start=start, length=length, left=left, top=top, width=across,
            height=down if tiled else min(down, height - top),
        )
        for (left, top), start, length in zip(corners, starts, lengths, strict=True)
    )  # fmt: skip


def samples(data: bytes, layout: Layout) -> Mosaic | None:
    """The whole mosaic, margins included: uint16, (height, width); None when any piece gives doubt."""
    out = np.empty((layout.height, layout.width), np.uint16)
    if layout.compressed:
        from archive.engine import dngtiles

        return out if dngtiles.decode_into(data, layout, out) else None
    for piece in layout.pieces:
        stored = _plain(data, layout, piece)
        if stored is None:
            return None
        part = out[piece.top : piece.top + piece.height, piece.left : piece.left + piece.width]
        part[:] = stored[: part.shape[0], : part.shape[1]]
    return out


def _plain(data: bytes, layout: Layout, piece: Piece) -> npt.NDArray[Any] | None:
    pitch = (piece.width * layout.bits + 7) // 8
    if piece.length != pitch * piece.height:
        return None
    if layout.bits == 16:
        kind = np.dtype(layout.raw.order + "u2")
        values = np.frombuffer(data, kind, piece.width * piece.height, piece.start)
        return values.reshape(piece.height, piece.width)
    if layout.bits == 8:
        return np.frombuffer(data, np.uint8, piece.length, piece.start).reshape(piece.height, piece.width)
    from archive.engine.kernels import lossless_jpeg

    out = np.empty((piece.height, piece.width), np.uint16)
    lossless_jpeg.unpack_bits(np.frombuffer(data, np.uint8), piece.start, pitch, layout.bits, out)
    return out
