"""One file from a card to every volume."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from archive.errors import ArchiveError, DamagedFileError, Exit
from archive.formats.volume import VolumeMark
from archive.ingest.transfer import CardReadError, Copied, copy_file, read_digest, weaker
from archive.store.digest import digest_bytes
from archive.store.durable import LocalDisk, LocalWriting
from archive.store.ports import Grade
from archive.store.volumes import Volume

DATA = bytes(range(256)) * 500
TARGET = "masters/2026-03-18/one-00000000/100/A0001.JPG"
TEMPORARY = "incoming/ingest-00000000.part"
MODIFIED = 1_773_871_200_123_456_000


def volume(root: Path, name: str) -> Volume:
    folder = root / name
    folder.mkdir()
    mark = VolumeMark(archive="a" * 32, volume=digest_bytes(name.encode())[7:], name=name, created="")
    return Volume(root=folder, mark=mark, disk=LocalDisk(folder))


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "A0001.JPG"
    path.write_bytes(DATA)
    return path


@pytest.fixture
def two(tmp_path: Path) -> list[Volume]:
    return [volume(tmp_path, "BLUE"), volume(tmp_path, "RED")]


def copied(source: Path, volumes: list[Volume]) -> Copied:
    return copy_file(
        source, TARGET, volumes, temporary=TEMPORARY, modified_ns=MODIFIED, progress=lambda _count: None
    )


def nothing_left(volumes: list[Volume]) -> bool:
    return all(not each.disk.files("incoming") and each.disk.stat(TARGET) is None for each in volumes)


@contextmanager
def readings(
    monkeypatch: pytest.MonkeyPatch, source: Path, opening: Callable[[int], Any]
) -> Iterator[list[int]]:
    """Every unbuffered opening of ``source`` is answered by ``opening(count)``; None opens it really."""
    opened = Path.open
    count = [0]

    def replaced(self: Path, *args: Any, **options: Any) -> Any:
        if self == source and options.get("buffering") == 0:
            count[0] += 1
            answer = opening(count[0])
            if isinstance(answer, BaseException):
                raise answer
            if answer is not None:
                return answer
        return opened(self, *args, **options)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", replaced)
        yield count


def test_a_file_lies_on_every_volume_read_only_with_its_time_and_digest(
    source: Path, two: list[Volume]
) -> None:
    told: list[int] = []
    result = copy_file(source, TARGET, two, temporary=TEMPORARY, modified_ns=MODIFIED, progress=told.append)
    assert result.digest == digest_bytes(DATA)
    assert result.written
    assert set(result.grades) == {each.id for each in two}
    assert sum(told) == len(DATA)
    for each in two:
        path = each.root / TARGET
        assert path.read_bytes() == DATA
        assert path.stat().st_mode & 0o222 == 0
        assert path.stat().st_mtime_ns == MODIFIED
        assert each.disk.files("incoming") == []


def test_the_source_is_read_once_for_all_volumes(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    with readings(monkeypatch, source, lambda _count: None) as count:
        copied(source, two)
    assert count == [1]


def test_what_lies_there_already_is_proven_and_not_written_again(source: Path, two: list[Volume]) -> None:
    copied(source, two)
    again = copied(source, two)
    assert not again.written
    assert again.digest == digest_bytes(DATA)
    assert set(again.grades) == {each.id for each in two}


def test_a_volume_that_lacks_the_file_is_completed_from_the_card(source: Path, two: list[Volume]) -> None:
    copied(source, two[:1])
    result = copied(source, two)
    assert result.written
    assert set(result.grades) == {each.id for each in two}
    assert (two[1].root / TARGET).read_bytes() == DATA


def test_a_copy_that_a_crash_left_writable_is_made_read_only(source: Path, two: list[Volume]) -> None:
    copied(source, two)
    (two[0].root / TARGET).chmod(0o644)
    copied(source, two)
    assert (two[0].root / TARGET).stat().st_mode & 0o222 == 0


def test_other_bytes_under_the_name_are_never_overwritten(source: Path, two: list[Volume]) -> None:
    path = two[0].root / TARGET
    path.parent.mkdir(parents=True)
    path.write_bytes(b"others")
    with pytest.raises(DamagedFileError, match="does not match the card"):
        copied(source, two)
    assert path.read_bytes() == b"others"


def test_a_reader_that_fails_twice_and_then_works_costs_nothing(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    fault = OSError(5, "Input/output error")
    with readings(monkeypatch, source, lambda count: fault if count < 3 else None) as count:
        result = copied(source, two)
    assert count == [3]
    assert result.digest == digest_bytes(DATA)


def test_a_reader_that_fails_in_the_middle_leaves_no_half_file(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Halting(io.BytesIO):
        def readinto(self, buffer: Any) -> int:
            if self.tell() >= 1000:
                raise OSError(5, "Input/output error")
            buffer[:1000] = DATA[:1000]
            self.seek(1000)
            return 1000

    with readings(monkeypatch, source, lambda count: Halting() if count < 3 else None):
        result = copied(source, two)
    assert result.digest == digest_bytes(DATA)
    assert (two[1].root / TARGET).read_bytes() == DATA


def test_a_reader_that_keeps_failing_is_told_and_leaves_nothing(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    with (
        readings(monkeypatch, source, lambda _count: OSError(5, "Input/output error")) as count,
        pytest.raises(CardReadError, match="Input/output error"),
    ):
        copied(source, two)
    assert count == [3]
    assert nothing_left(two)


def test_a_source_that_changes_while_it_is_read_is_not_kept(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    def growing(_count: int) -> None:
        with source.open("ab") as stream:
            stream.write(b"more")

    with readings(monkeypatch, source, growing), pytest.raises(CardReadError, match="changed while"):
        copied(source, two)
    assert nothing_left(two)
    with readings(monkeypatch, source, growing), pytest.raises(CardReadError, match="changed while"):
        read_digest(source)


def test_a_copy_that_reads_back_wrong_is_written_again(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    honest = LocalDisk.read_back
    lies = [2]

    def lying(self: LocalDisk, path: str) -> tuple[str, Grade]:
        digest, grade = honest(self, path)
        if self.root.name == "RED" and lies[0]:
            lies[0] -= 1
            return "xxh128:" + "0" * 32, grade
        return digest, grade

    monkeypatch.setattr(LocalDisk, "read_back", lying)
    assert copied(source, two).written
    assert lies == [0]


def test_a_copy_that_never_reads_back_right_is_refused_by_volume_name(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(LocalDisk, "read_back", lambda self, path: ("xxh128:" + "0" * 32, Grade.DIRECT))
    with pytest.raises(DamagedFileError) as caught:
        copied(source, two)
    assert "BLUE, RED" in caught.value.message
    assert "A0001.JPG" in caught.value.message
    assert nothing_left(two)


def test_a_volume_that_fills_up_is_named_and_left_without_a_half_file(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    write = LocalWriting.write

    def full(self: LocalWriting, block: bytes | memoryview) -> None:
        if "RED" in str(self._path):
            raise OSError(28, "No space left on device")
        write(self, block)

    monkeypatch.setattr(LocalWriting, "write", full)
    with pytest.raises(ArchiveError) as caught:
        copied(source, two)
    assert caught.value.message == "RED cannot be written: No space left on device."
    assert caught.value.exit_code is Exit.ATTENTION
    assert nothing_left(two)


def test_a_volume_that_fails_when_its_copy_is_named_is_told_in_words(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(self: LocalDisk, source: str, target: str) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(LocalDisk, "publish", broken)
    with pytest.raises(ArchiveError, match="cannot be written: Input/output error"):
        copied(source, two)
    assert nothing_left(two)


def test_a_copy_that_cannot_be_read_back_is_told_in_words(
    source: Path, two: list[Volume], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(self: LocalDisk, path: str) -> tuple[str, Grade]:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(LocalDisk, "read_back", broken)
    with pytest.raises(ArchiveError, match="Input/output error"):
        copied(source, two)
    assert nothing_left(two)


@pytest.mark.parametrize(
    ("one", "other", "least"),
    [
        (None, Grade.DIRECT, Grade.DIRECT),
        (Grade.DIRECT, Grade.CACHED, Grade.CACHED),
        (Grade.EVICTED, Grade.DIRECT, Grade.EVICTED),
        (Grade.CACHED, Grade.EVICTED, Grade.CACHED),
    ],
)
def test_the_weaker_grade_counts(one: Grade | None, other: Grade, least: Grade) -> None:
    assert weaker(one, other) is least
