"""A file's bytes by slices, each read when it is asked for: for directories of large files, never mapped.

A page of a mapped file that its drive cannot give is no error that a program can catch; it ends it.
"""

from __future__ import annotations

from collections import OrderedDict
from typing import BinaryIO, SupportsIndex

from archive.formats.boxes import size_of

PAGE = 1 << 14
_PAGES = 16
MOST = 64 << 20
"""Bytes that are read of one file in all, whatever its headers ask for."""


class FileView:
    """A seekable stream as a sequence of bytes.

    Slices of step 1 raise OSError when the stream does not give what it had when the view was made, and
    ValueError once more than :data:`MOST` bytes were asked for.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._size = size_of(stream)
        self._left = MOST
        self._pages: OrderedDict[int, bytes] = OrderedDict()

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, part: slice[SupportsIndex | None]) -> bytes:
        start, stop, _ = part.indices(self._size)
        if stop <= start:
            return b""
        if stop - start > PAGE:
            return self._read(start, stop - start)
        first, last = start // PAGE, (stop - 1) // PAGE
        data = self._page(first) if first == last else self._page(first) + self._page(last)
        return data[start - first * PAGE : stop - first * PAGE]

    def _page(self, number: int) -> bytes:
        held = self._pages.get(number)
        if held is None:
            start = number * PAGE
            held = self._pages[number] = self._read(start, min(PAGE, self._size - start))
            if len(self._pages) > _PAGES:
                self._pages.popitem(last=False)
        else:
            self._pages.move_to_end(number)
        return held

    def _read(self, start: int, length: int) -> bytes:
        self._left -= length
        if self._left < 0:
            raise ValueError(f"its headers ask for more than {MOST} bytes")
        self._stream.seek(start)
        data = self._stream.read(length)
        if len(data) < length:
            raise OSError("the file is shorter than it was")
        return data
