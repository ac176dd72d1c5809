"""Streams through XXH3-128, the identity of every file that a camera wrote or we made."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import xxhash

from archive.model.identity import FrameId

BLOCK = 4 * 1024 * 1024


class Digester:
    """XXH3-128 of blocks as they pass; seed 0, canonical big-endian hexadecimal."""

    def __init__(self) -> None:
        self._state = xxhash.xxh3_128()
        self.size = 0

    def update(self, block: bytes | memoryview) -> None:
        self._state.update(block)
        self.size += len(block)

    @property
    def id(self) -> FrameId:
        return FrameId("xxh128:" + self._state.hexdigest())


def digest_bytes(data: bytes | memoryview) -> FrameId:
    return FrameId("xxh128:" + xxhash.xxh3_128_hexdigest(data))


def blocks(stream: BinaryIO, size: int = BLOCK) -> Iterator[memoryview]:
    """A stream in large blocks; each block is only good until the next is asked for."""
    buffer = bytearray(size)
    view = memoryview(buffer)
    readinto = getattr(stream, "readinto", None)
    while True:
        if readinto is None:
            data = stream.read(size)
            if not data:
                return
            yield memoryview(data)
            continue
        count = readinto(view)
        if not count:
            return
        yield view[:count]


def digest_stream(stream: BinaryIO) -> tuple[FrameId, int]:
    """The digest and the length of everything that is left in a stream."""
    digester = Digester()
    for block in blocks(stream):
        digester.update(block)
    return digester.id, digester.size


def digest_at(path: Path) -> FrameId:
    """The digest of a file outside the archive, such as one on a card."""
    with path.open("rb", buffering=0) as stream:
        return digest_stream(stream)[0]
