"""Views of files, read by slices."""

from __future__ import annotations

import io
import random

import pytest

from archive.formats import fileview
from archive.formats.fileview import PAGE, FileView

DATA = random.Random(1).randbytes(5 * PAGE + 77)


def test_a_view_gives_what_the_bytes_would_give() -> None:
    view = FileView(io.BytesIO(DATA))
    assert len(view) == len(DATA)
    chance = random.Random(2)
    for _ in range(500):
        start, stop = chance.randint(-len(DATA), len(DATA) + 9), chance.randint(-9, len(DATA) + 9)
        near = slice(abs(start), abs(start) + chance.randint(0, 40))
        assert view[near] == DATA[near]
        assert view[start:stop] == DATA[start:stop]
    assert view[:] == DATA


def test_pages_are_read_once_while_they_are_near() -> None:
    class Counting(io.BytesIO):
        reads = 0

        def read(self, size: int | None = -1) -> bytes:
            Counting.reads += 1
            return super().read(size)

    view = FileView(Counting(DATA))
    for place in range(0, 2 * PAGE, 12):
        assert view[place : place + 12] == DATA[place : place + 12]
    assert Counting.reads <= 3


def test_a_file_that_became_shorter_is_an_error_and_no_guess() -> None:
    stream = io.BytesIO(DATA)
    view = FileView(stream)
    stream.truncate(PAGE + 10)
    assert view[PAGE - 5 : PAGE] == DATA[PAGE - 5 : PAGE]
    with pytest.raises(OSError, match="shorter than it was"):
        view[PAGE : PAGE + 20]


def test_headers_that_ask_without_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fileview, "MOST", 4 * len(DATA))
    view = FileView(io.BytesIO(DATA))
    with pytest.raises(ValueError, match="ask for more than"):
        for _ in range(5):
            view[:]
