"""Where a file keeps its EXIF, and the tags found there, by number; every read is bounded.

The tag reader underneath knows TIFF, JPEG, PNG, WebP and HEIF. The raw containers that wrap one of
these are unwrapped here.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from typing import Any, BinaryIO, cast

import exifread

from archive.formats.boxes import boxes, size_of

MAX_READ = 32 * 1024 * 1024
MAX_READS = 400_000
MAX_BLOCK = 4 * 1024 * 1024

Tags = dict[str, dict[int, Any]]

_STILL_BRANDS = (b"heix", b"heim", b"heis", b"hevc", b"hevx", b"msf1", b"avis")
_RAW_BOX = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
_PARTS = {b"CMT1": "Image", b"CMT2": "EXIF", b"CMT4": "GPS"}

# It reports every oddity of every file to standard error otherwise; what matters is told as faults.
logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)


class BoundedReader(io.RawIOBase):
    """A window on a stream that ends after a bounded amount of reading, whatever a header asks for.

    ``overlay`` replaces the four bytes at position 8: the tag reader knows a HEIF file by three
    brands only.
    """

    def __init__(
        self, stream: BinaryIO, start: int = 0, end: int | None = None, overlay: bytes | None = None
    ) -> None:
        self._stream = stream
        self._start = start
        self._length = max(0, (size_of(stream) if end is None else end) - start)
        self._overlay = overlay
        self._at = 0
        self._left = MAX_READ
        self._reads = MAX_READS

    @property
    def exhausted(self) -> bool:
        """Whether the header asked for more than any honest one needs."""
        return self._left <= 0 or self._reads <= 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._length}[whence]
        self._at = max(0, base + offset)
        return self._at

    def read(self, size: int | None = -1) -> bytes:
        self._reads -= 1
        wanted = self._length if size is None or size < 0 else size
        wanted = min(wanted, self._length - self._at, self._left, MAX_BLOCK)
        if wanted <= 0 or self._reads <= 0:
            return b""
        self._stream.seek(self._start + self._at)
        data = self._stream.read(wanted)
        if self._overlay is not None and self._at < 12 and self._at + len(data) > 8:
            patched = bytearray(data)
            for index, value in enumerate(self._overlay):
                if 0 <= 8 + index - self._at < len(patched):
                    patched[8 + index - self._at] = value
            data = bytes(patched)
        self._at += len(data)
        self._left -= len(data)
        return data


def read_tags(stream: BinaryIO) -> tuple[Tags, str | None]:
    """Tags by directory (``Image``, ``EXIF``, ``GPS``) and number, and what went wrong, in words."""
    head = _at(stream, 0, 16)
    tags: Tags = {}
    fault = None
    for group, reader in _places(stream, head):
        try:
            found = exifread.process_file(
                cast(BinaryIO, reader), details=False, extract_thumbnail=False, truncate_tags=True
            )
        except Exception as error:
            # The tag reader meets hostile headers with any exception there is.
            fault = f"the header is damaged and could not be read ({type(error).__name__})"
            continue
        if reader.exhausted:
            fault = "the header is damaged: it asks for more than any header holds"
        for name, tag in found.items():
            number = getattr(tag, "tag", None)
            directory = group if group not in (None, "Image") else name.partition(" ")[0]
            if isinstance(number, int):
                tags.setdefault(directory, {}).setdefault(number, tag.values)
    return tags, fault


def _places(stream: BinaryIO, head: bytes) -> Iterator[tuple[str | None, BoundedReader]]:
    """(directory that the tags belong to or None, where to read)."""
    if head.startswith(b"FUJIFILMCCD-RAW"):
        pointer = _at(stream, 84, 8)
        start, length = int.from_bytes(pointer[:4], "big"), int.from_bytes(pointer[4:], "big")
        yield None, BoundedReader(stream, start, min(start + length, size_of(stream)))
    elif head.startswith(b"\0MRM"):
        yield from _minolta(stream, int.from_bytes(head[4:8], "big") + 8)
    elif head[4:12] == b"ftypcrx ":
        yield from _canon(stream)
    elif head[4:8] == b"ftyp" and head[8:12] in _STILL_BRANDS:
        yield None, BoundedReader(stream, overlay=b"heic")
    elif head[:2] in (b"II", b"MM", b"\xff\xd8", b"\x89P", b"RI") or head[4:8] in (b"ftyp", b"JXL "):
        yield None, BoundedReader(stream)


def _canon(stream: BinaryIO) -> Iterator[tuple[str | None, BoundedReader]]:
    for movie in boxes(stream, 0, size_of(stream)):
        if movie.kind != b"moov":
            continue
        for box in boxes(stream, movie.start, movie.end):
            if box.uuid != _RAW_BOX:
                continue
            for part in boxes(stream, box.start, box.end):
                if part.kind in _PARTS:
                    yield _PARTS[part.kind], BoundedReader(stream, part.start, part.end)
        return


def _minolta(stream: BinaryIO, end: int) -> Iterator[tuple[str | None, BoundedReader]]:
    start, end = 8, min(end, size_of(stream))
    for _ in range(64):
        head = _at(stream, start, 8)
        if len(head) < 8 or start >= end:
            return
        length = int.from_bytes(head[4:], "big")
        if head[:4] == b"\0TTW":
            yield None, BoundedReader(stream, start + 8, min(start + 8 + length, end))
            return
        start += 8 + length


def _at(stream: BinaryIO, start: int, length: int) -> bytes:
    stream.seek(start)
    return stream.read(length)
