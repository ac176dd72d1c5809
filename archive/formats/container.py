"""What kind of file some bytes are, and whether its own directory of picture data fits into them.

Decoders fill missing data with zeros, grey or whatever lay in memory, and say nothing. Formats that state
where their picture data lies are therefore measured before anything is decoded.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Protocol


class Data(Protocol):
    """A whole file: its bytes, or a view that reads what is asked for (:mod:`archive.formats.fileview`)."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> bytes: ...


_TIFF_HEADS = {b"II*\x00": "<", b"MM\x00*": ">", b"IIU\x00": "<", b"IIRO": "<", b"IIRS": "<", b"MMOR": ">"}
_PANASONIC = b"IIU\x00"
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_FORMATS = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I"}
_MARKER = re.compile(rb"\xff+[^\x00\xff\xd0-\xd7]")
_MAX_DIRECTORIES = 64
_MAX_VALUES = 1 << 20

SUBFILE, WIDTH, HEIGHT, COMPRESSION, PHOTOMETRIC, ORIENTATION = 254, 256, 257, 259, 262, 274
STRIPS, STRIP_BYTES, TILES, TILE_BYTES, CHILDREN, DNG_VERSION = 273, 279, 324, 325, 330, 50706
COLOUR_FILTER, LINEAR_RAW = 32803, 34892
RAW_DATA_OFFSET = 0x118


class Kind(StrEnum):
    """How a file is decoded."""

    JPEG = "jpeg"
    PNG = "png"
    HEIF = "heif"
    TIFF = "tiff"
    RAW = "raw"


@dataclass(frozen=True, kw_only=True)
class Completeness:
    """Whether a file's picture data is all there.

    ``missing`` counts the bytes that lie beyond the file's end; ``known`` is False where the format
    does not say where its data lies, so that nothing can be measured.
    """

    known: bool
    missing: int = 0


@dataclass(frozen=True)
class Directory:
    """One TIFF directory: tag → its whole numbers (other types are left out)."""

    tags: dict[int, tuple[int, ...]]

    def first(self, tag: int, default: int = 0) -> int:
        values = self.tags.get(tag)
        return values[0] if values else default


def tiff_directories(data: Data) -> list[Directory] | None:
    """Every directory of a file of the TIFF family, children included; None when it is no such file."""
    order = _TIFF_HEADS.get(data[:4])
    if order is None or len(data) < 8:
        return None
    waiting = [struct.unpack(order + "I", data[4:8])[0]]
    seen: set[int] = set()
    found: list[Directory] = []
    while waiting and len(found) < _MAX_DIRECTORIES:
        offset = waiting.pop(0)
        if not offset or offset in seen or offset + 2 > len(data):
            continue
        seen.add(offset)
        (count,) = struct.unpack(order + "H", data[offset : offset + 2])
        tags = dict(_entries(data, order, offset + 2, count))
        found.append(Directory(tags))
        waiting += [child for child in tags.get(CHILDREN, ()) if child]
        end = offset + 2 + 12 * count
        if end + 4 <= len(data):
            waiting.append(struct.unpack(order + "I", data[end : end + 4])[0])
    return found


def kind_of(data: Data) -> Kind | None:
    """How to decode these bytes, from the bytes alone; None when they are no picture known here.

    Camera raws that share a container with ordinary pictures (TIFF) are told apart by what their
    directories say about colour filters.
    """
    if data[:3] == b"\xff\xd8\xff":
        return Kind.JPEG
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return Kind.PNG
    if data[4:8] == b"ftyp":
        brands = _brands(data)
        if brands[0] == b"crx ":
            return Kind.RAW
        return None if _PICTURE_BRANDS.isdisjoint(brands) else Kind.HEIF
    directories = tiff_directories(data)
    if directories is not None:
        return Kind.TIFF if _is_plain_tiff(data, directories) else Kind.RAW
    if len(data) >= 32 and any(mark in data[:32] for mark in _RAW_MARKS):
        return Kind.RAW
    return None


# Still pictures and bursts (ISO/IEC 23008-12, AVIF 1.1). Movies share the container (ISO/IEC 14496-12).
_PICTURE_BRANDS = frozenset((
    b"mif1", b"mif2", b"msf1", b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs",
    b"1pic", b"avif", b"avis", b"avci", b"avcs", b"jpeg", b"jpgs", b"j2ki", b"j2is", b"miaf",
))  # fmt: skip
_MAX_BRANDS = 64


def _brands(data: Data) -> list[bytes]:
    """What a file of boxes says it is, its main brand first."""
    length = int.from_bytes(data[:4], "big")
    # Behind the main brand lies its version.
    others = data[16 : min(length, 16 + 4 * _MAX_BRANDS)]
    return [data[8:12], *(others[at : at + 4] for at in range(0, len(others), 4))]


_RAW_MARKS = (
    b"HEAPCCDR",
    b"FUJIFILMCCD-RAW",
    b"\x00MRM",
    b"FOVb",
    b"ARRI",
    b"qktk",
    b"qktn",
    b"DSC-Image",
    b"NOKIARAW",
)


def completeness(data: Data, kind: Kind) -> Completeness:
    """How much of the picture data that the file itself declares lies beyond its end."""
    if kind in (Kind.TIFF, Kind.RAW):
        directories = tiff_directories(data)
        if directories is None:
            return _fuji_completeness(data)
        return _tiff_completeness(data, directories)
    if kind is Kind.JPEG:
        return Completeness(known=True, missing=0 if jpeg_ends(data[:]) else 1)
    return Completeness(known=kind is Kind.PNG)


def _fuji_completeness(data: Data) -> Completeness:
    """RAF files say in their head, big-endian, where the picture data begins and how long it is."""
    if data[:15] != b"FUJIFILMCCD-RAW" or len(data) < 108:
        return Completeness(known=False)
    start, length = struct.unpack(">II", data[100:108])
    return Completeness(known=length > 0, missing=max(0, start + length - len(data)))


def jpeg_ends(data: bytes) -> bool:
    """Whether a JPEG's segments lead from its start to its own end marker, through at least one scan."""
    place = 2
    scans = 0
    while place + 4 <= len(data):
        if data[place] != 0xFF:
            return False
        marker = data[place + 1]
        if marker == 0xFF:
            place += 1
            continue
        if marker == 0xD9:
            return scans > 0
        place += 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        if marker == 0xDA:
            scans += 1
            following = _MARKER.search(data, place)
            if following is None:
                return False
            place = following.end() - 2
    return place + 2 <= len(data) and data[place : place + 2] == b"\xff\xd9" and scans > 0


def _entries(data: Data, order: str, place: int, count: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    whole = data[place : place + 12 * count]
    for entry in range(0, len(whole) - 11, 12):
        tag, kind, number = struct.unpack_from(order + "HHI", whole, entry)
        code = _FORMATS.get(kind)
        if code is None or code in "fd" or not 0 < number <= _MAX_VALUES:
            continue
        size = _SIZES[kind] * number
        if size <= 4:
            yield tag, struct.unpack_from(f"{order}{number}{code}", whole, entry + 8)
            continue
        (start,) = struct.unpack_from(order + "I", whole, entry + 8)
        if start + size <= len(data):
            yield tag, struct.unpack(f"{order}{number}{code}", data[start : start + size])


def _is_plain_tiff(data: Data, directories: list[Directory]) -> bool:
    if data[:4] not in (b"II*\x00", b"MM\x00*") or data[8:10] == b"CR" or not directories:
        return False
    if any(each.first(PHOTOMETRIC) in (COLOUR_FILTER, LINEAR_RAW) for each in directories):
        return False
    first = directories[0]
    if DNG_VERSION in first.tags or first.first(SUBFILE) & 1:
        return False
    return first.first(PHOTOMETRIC, -1) in (0, 1, 2, 3, 5, 6, 8) and first.first(COMPRESSION, 1) in (
        1, 5, 7, 8, 32773, 32946, 50000, 50001,
    )  # fmt: skip


def _tiff_completeness(data: Data, directories: list[Directory]) -> Completeness:
    # A directory that lies beyond the end was cut off with all that it would have named.
    missing = max(0, _furthest_directory(data, directories) - len(data))
    measured = missing > 0
    for each in directories:
        if each.first(SUBFILE) & 1:
            continue
        for end in _data_ends(data, each):
            measured = True
            missing = max(missing, end - len(data))
    return Completeness(known=measured, missing=missing)


def _furthest_directory(data: Data, directories: list[Directory]) -> int:
    """Where the furthest directory that is pointed to begins, and at least its count ends."""
    order = _TIFF_HEADS[data[:4]]
    named: list[int] = [struct.unpack(order + "I", data[4:8])[0]]
    named += [child for each in directories for child in each.tags.get(CHILDREN, ())]
    return max(named) + 2


def _data_ends(data: Data, directory: Directory) -> Iterator[int]:
    for offsets, sizes in ((STRIPS, STRIP_BYTES), (TILES, TILE_BYTES)):
        starts = directory.tags.get(offsets, ())
        lengths = directory.tags.get(sizes, ())
        if data[:4] == _PANASONIC and RAW_DATA_OFFSET in directory.tags:
            starts = directory.tags[RAW_DATA_OFFSET]
        if len(starts) == len(lengths):
            yield from (start + length for start, length in zip(starts, lengths, strict=True) if length)
        elif starts:
            ordered = sorted(starts)
            yield ordered[-1] + 1
            yield from (after for before, after in pairwise(ordered) if after > before)
