"""One whole reading of a card's file."""

from __future__ import annotations

import errno
import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive.ingest import opening
from archive.ingest.reading import CardReadError, Reading, read_digest
from archive.store.digest import digest_bytes

DATA = bytes(range(256)) * 500
Opening = Callable[[int], Any]


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "A0001.JPG"
    path.write_bytes(DATA)
    return path


@pytest.fixture
def answering(source: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[Opening], list[int]]:
    """Openings of ``source`` are answered by a function of their number; None opens it really."""

    def answer(answering: Opening) -> list[int]:
        opened, count = opening.open_plain, [0]

        def replaced(self: Path, *arguments: Any, **options: Any) -> Any:
            if self == source and not options.get("buffered"):
                count[0] += 1
                made = answering(count[0])
                if isinstance(made, BaseException):
                    raise made
                if made is not None:
                    return made
            return opened(self, *arguments, **options)

        monkeypatch.setattr(opening, "open_plain", replaced)
        return count

    return answer


class Halting(io.BytesIO):
    """Fails once ``at`` bytes were read."""

    def __init__(self, at: int) -> None:
        super().__init__(DATA)
        self._at = at

    def readinto(self, buffer: Any) -> int:
        if self.tell() >= self._at:
            raise OSError(errno.EIO, "Input/output error")
        data = self.read(min(len(buffer), self._at - self.tell()))
        buffer[: len(data)] = data
        return len(data)


def whole(source: Path, size: int = 1000) -> tuple[bytes, str]:
    reading = Reading(source)
    buffer = memoryview(bytearray(size))
    pieces = []
    while count := reading.into(buffer):
        pieces.append(bytes(buffer[:count]))
    digest = reading.end()
    reading.close()
    return b"".join(pieces), digest


def test_every_byte_comes_once_and_the_digest_is_theirs(source: Path) -> None:
    assert whole(source) == (DATA, digest_bytes(DATA))
    told: list[int] = []
    assert read_digest(source, told.append) == digest_bytes(DATA)
    assert sum(told) == len(DATA)


def test_a_reader_that_fails_in_the_middle_goes_on_from_there(
    source: Path, answering: Callable[[Opening], list[int]]
) -> None:
    count = answering(lambda number: Halting(700 * number) if number < 3 else None)
    assert whole(source) == (DATA, digest_bytes(DATA))
    assert count == [3]


def test_a_reader_that_cannot_open_at_first_is_asked_three_times(
    source: Path, answering: Callable[[Opening], list[int]]
) -> None:
    count = answering(lambda number: OSError(errno.EIO, "Input/output error") if number < 3 else None)
    assert whole(source)[1] == digest_bytes(DATA)
    assert count == [3]


def test_a_reader_that_keeps_failing_is_told(source: Path, answering: Callable[[Opening], list[int]]) -> None:
    count = answering(lambda _number: Halting(700))
    with pytest.raises(CardReadError, match="cannot be read: Input/output error"):
        whole(source)
    assert count == [3]


def test_a_file_that_is_gone_is_not_asked_again(
    source: Path, answering: Callable[[Opening], list[int]]
) -> None:
    def vanishing(_number: int) -> OSError:
        source.unlink(missing_ok=True)
        return OSError(errno.EIO, "Input/output error")

    count = answering(vanishing)
    with pytest.raises(CardReadError, match="Input/output error"):
        whole(source)
    assert count == [1]
    with pytest.raises(CardReadError, match="No such file"):
        read_digest(source)


def test_a_file_that_grows_while_it_is_read_is_given_up(source: Path) -> None:
    reading = Reading(source)
    buffer = memoryview(bytearray(1000))
    reading.into(buffer)
    with source.open("ab") as stream:
        stream.write(b"more")
    while reading.into(buffer):
        pass
    with pytest.raises(CardReadError, match="it changed while it was being read"):
        reading.end()
    reading.close()


def test_a_file_replaced_by_another_of_its_size_and_time_is_given_up(source: Path) -> None:
    reading = Reading(source)
    while reading.into(memoryview(bytearray(1 << 20))):
        pass
    before = source.stat()
    other = source.with_name("other")
    other.write_bytes(DATA)
    os.utime(other, ns=(before.st_mtime_ns, before.st_mtime_ns))
    other.replace(source)
    with pytest.raises(CardReadError, match="it changed"):
        reading.end()
    reading.close()
