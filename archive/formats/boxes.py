"""The boxes of ISO base media files (ISO/IEC 14496-12), walked without trusting their sizes.

MP4, MOV, HEIF and several raw formats are made of them. A box that claims more than there is ends at
the end of what there is; the number of boxes looked at is bounded.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

MAX_BOXES = 4096


@dataclass(frozen=True, kw_only=True)
class Box:
    """One box: its four-character type, the UUID of a ``uuid`` box, where its content lies, in bytes."""

    kind: bytes
    uuid: bytes
    start: int
    end: int

    def read(self, stream: BinaryIO, limit: int) -> bytes:
        """Its content, at most ``limit`` bytes of it."""
        stream.seek(self.start)
        return stream.read(max(0, min(limit, self.end - self.start)))


def size_of(stream: BinaryIO) -> int:
    """Length of a seekable stream in bytes."""
    return stream.seek(0, io.SEEK_END)


def boxes(stream: BinaryIO, start: int, end: int) -> Iterator[Box]:
    """The boxes between two positions, in order; it stops at the first that cannot be one."""
    for _ in range(MAX_BOXES):
        if end - start < 8:
            return
        stream.seek(start)
        head = stream.read(8)
        if len(head) < 8:
            return
        size, kind, content = int.from_bytes(head[:4], "big"), head[4:8], start + 8
        if size == 1:
            size = int.from_bytes(stream.read(8), "big")
            content += 8
        uuid = b""
        if kind == b"uuid":
            stream.seek(content)
            uuid = stream.read(16)
            content += 16
        stop = end if size == 0 else start + size
        if stop < content:
            return
        yield Box(kind=kind, uuid=uuid, start=content, end=min(stop, end))
        start = stop


def descend(stream: BinaryIO, path: tuple[bytes, ...], start: int, end: int) -> Iterator[Box]:
    """Every box at a path of types, such as ``(b"moov", b"mvhd")``."""
    for box in boxes(stream, start, end):
        if box.kind != path[0]:
            continue
        if len(path) == 1:
            yield box
        else:
            yield from descend(stream, path[1:], box.start, box.end)


def overhang(stream: BinaryIO) -> int:
    """How many bytes the top-level boxes claim beyond the file's end; 0 for a whole file."""
    total, start = size_of(stream), 0
    for _ in range(MAX_BOXES):
        if total - start < 8:
            return 0
        stream.seek(start)
        head = stream.read(16)
        size = int.from_bytes(head[:4], "big")
        if size == 1:
            size = int.from_bytes(head[8:16], "big")
        if size < 8:
            return 0
        start += size
        if start > total:
            return start - total
    return 0
