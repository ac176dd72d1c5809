"""Files from a card to every volume, on real folders."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.stopping import Stop

from archive.errors import ArchiveError
from archive.formats.volume import VolumeMark
from archive.ingest import opening
from archive.ingest.buffers import Pool
from archive.ingest.errand import Errand
from archive.ingest.stages import StageMaker, inline, threaded
from archive.ingest.transfer import Engine, bring
from archive.store.digest import digest_bytes
from archive.store.durable import LocalDisk, LocalWriting
from archive.store.ports import Grade
from archive.store.volumes import Volume

FOLDER = "masters/2026-03-18/one-00000000/100"
MODIFIED = 1_773_871_200_123_456_000
SIZES = (1, 1000, 65_536, 200_001)


@pytest.fixture(params=[inline, threaded], ids=["inline", "threads"])
def engine(request: pytest.FixtureRequest) -> Engine:
    stages: StageMaker = request.param
    return Engine(stages=stages, pool=Pool(blocks=3, size=1 << 16))


def volume(root: Path, name: str) -> Volume:
    folder = root / name
    folder.mkdir()
    mark = VolumeMark(archive="a" * 32, volume=digest_bytes(name.encode())[7:], name=name, created="")
    return Volume(root=folder, mark=mark, disk=LocalDisk(folder))


@pytest.fixture
def two(tmp_path: Path) -> list[Volume]:
    return [volume(tmp_path, "BLUE"), volume(tmp_path, "RED")]


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    for size in SIZES:
        (folder / f"A{size}.JPG").write_bytes(bytes(size % 251 for _ in range(size)))
    return folder


def errands(card: Path, volumes: list[Volume]) -> list[Errand]:
    return [
        Errand(
            source=path,
            name=path.name,
            target=f"{FOLDER}/{path.name}",
            size=path.stat().st_size,
            modified_ns=MODIFIED,
            wanted=frozenset(each.id for each in volumes),
        )
        for path in sorted(card.iterdir())
    ]


def brought(
    wanted: list[Errand], volumes: list[Volume], engine: Engine, progress: Callable[[int], None] | None = None
) -> dict[str, ArchiveError]:
    return bring(wanted, volumes, engine=engine, progress=progress or (lambda _count: None))


def whole(card: Path, each: Volume) -> None:
    for path in card.iterdir():
        kept = each.root / FOLDER / path.name
        assert kept.read_bytes() == path.read_bytes()
        assert kept.stat().st_mode & 0o222 == 0
        assert kept.stat().st_mtime_ns == MODIFIED
    assert each.disk.files("incoming") == []


def test_every_file_lies_on_every_volume_read_only_with_its_time_and_digest(
    card: Path, two: list[Volume], engine: Engine
) -> None:
    told: list[int] = []
    wanted = errands(card, two)
    assert brought(wanted, two, engine, told.append) == {}
    assert sum(told) == sum(SIZES)
    for each in two:
        whole(card, each)
    for errand in wanted:
        assert errand.source is not None
        assert errand.digest == digest_bytes(errand.source.read_bytes())
        assert errand.copied and errand.sound
        assert errand.proven.keys() == {each.id for each in two}


def test_the_card_is_read_once_for_all_volumes(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, count = opening.open_plain, [0]

    def counted(self: Path, *arguments: Any, **options: Any) -> Any:
        count[0] += self.parent == card
        return opened(self, *arguments, **options)

    monkeypatch.setattr(opening, "open_plain", counted)
    brought(errands(card, two), two, engine)
    assert count == [len(SIZES)]


def test_what_lies_there_already_is_proven_and_not_written_again(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    brought(errands(card, two), two[:1], engine)
    (two[0].root / FOLDER / "A1000.JPG").chmod(0o644)
    begun: list[str] = []
    begin = LocalDisk.begin

    def watched(self: LocalDisk, path: str) -> LocalWriting:
        begun.append(self.root.name)
        return begin(self, path)

    monkeypatch.setattr(LocalDisk, "begin", watched)
    wanted = errands(card, two)
    assert brought(wanted, two, engine) == {}
    assert set(begun) == {"RED"}
    for each in two:
        whole(card, each)
    assert all(len(errand.proven) == 2 for errand in wanted)


def test_other_bytes_under_a_name_are_never_overwritten_and_the_rest_is_brought(
    card: Path, two: list[Volume], engine: Engine
) -> None:
    path = two[0].root / FOLDER / "A1000.JPG"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"others")
    wanted = errands(card, two)
    assert brought(wanted, two, engine) == {}
    assert path.read_bytes() == b"others"
    assert {errand.name: errand.clash for errand in wanted if errand.clash} == {"A1000.JPG": ["BLUE"]}
    assert sum(errand.sound for errand in wanted) == len(SIZES) - 1
    whole(card, two[1])


def test_a_volume_that_fills_up_is_told_and_left_without_a_half_file_while_the_other_completes(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = LocalWriting.write

    def full(self: LocalWriting, block: bytes | memoryview) -> None:
        if "RED" in str(self._path) and len(block) == 65_536:
            raise OSError(errno.ENOSPC, "No space left on device")
        write(self, block)

    monkeypatch.setattr(LocalWriting, "write", full)
    wanted = errands(card, two)
    failures = brought(wanted, two, engine)
    assert failures.keys() == {two[1].id}
    assert failures[two[1].id].message == "RED cannot be written: No space left on device."
    whole(card, two[0])
    assert two[1].disk.files("incoming") == []
    assert all(two[0].id in errand.proven for errand in wanted)


@pytest.mark.parametrize("call", ["publish", "read_back", "sync_folder", "stat"])
def test_a_volume_that_fails_in_any_call_does_not_stop_the_other(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    honest = getattr(LocalDisk, call)

    def broken(self: LocalDisk, *arguments: Any) -> Any:
        if self.root.name == "BLUE":
            raise OSError(errno.EIO, "Input/output error")
        return honest(self, *arguments)

    monkeypatch.setattr(LocalDisk, call, broken)
    wanted = errands(card, two)
    failures = brought(wanted, two, engine)
    assert failures.keys() == {two[0].id}
    assert "Input/output error" in failures[two[0].id].message
    monkeypatch.undo()
    assert two[0].disk.files("incoming") == []
    whole(card, two[1])
    assert all(errand.proven.keys() == {two[1].id} for errand in wanted)


def test_a_copy_that_reads_back_wrong_is_written_again(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest, lies = LocalDisk.read_back, [2]

    def lying(self: LocalDisk, path: str) -> tuple[str, Grade]:
        digest, grade = honest(self, path)
        if self.root.name == "RED" and lies[0]:
            lies[0] -= 1
            return "xxh128:" + "0" * 32, grade
        return digest, grade

    monkeypatch.setattr(LocalDisk, "read_back", lying)
    assert brought(errands(card, two), two, engine) == {}
    assert lies == [0]
    for each in two:
        whole(card, each)


def test_two_readings_that_differ_are_told_and_nothing_of_the_second_is_kept(
    card: Path, two: list[Volume], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    honest, lies = LocalDisk.read_back, [1]

    def lying(self: LocalDisk, path: str) -> tuple[str, Grade]:
        digest, grade = honest(self, path)
        if self.root.name == "RED" and lies[0] and (self.root / path).stat().st_size == 1000:
            lies[0] = 0
            other = card / "A1000.JPG"
            other.write_bytes(b"x" * 1000)
            return "xxh128:" + "0" * 32, grade
        return digest, grade

    monkeypatch.setattr(LocalDisk, "read_back", lying)
    wanted = errands(card, two)
    assert brought(wanted, two, engine) == {}
    assert [errand.fault for errand in wanted if errand.fault] == ["two readings of it differ"]
    assert not (two[1].root / FOLDER / "A1000.JPG").exists()
    assert two[1].disk.files("incoming") == []


def test_what_no_card_has_is_only_proven_where_it_lies(card: Path, two: list[Volume], engine: Engine) -> None:
    brought(errands(card, two), two[:1], engine)
    wanted = errands(card, two)
    for errand in wanted:
        assert errand.source is not None
        errand.digest = digest_bytes(errand.source.read_bytes())
        errand.source = None
    assert brought(wanted, two[:1], engine) == {}
    assert all(errand.proven.keys() == {two[0].id} for errand in wanted)
    assert brought(wanted, two, engine) == {}
    assert {errand.fault for errand in wanted} == {"no card here has it"}


def test_a_run_that_is_stopped_leaves_no_temporary_file_and_takes_nothing_back(
    card: Path, two: list[Volume], engine: Engine
) -> None:
    def stop(count: int) -> None:
        if count == 65_536:
            raise Stop

    wanted = errands(card, two)
    with pytest.raises(Stop):
        brought(wanted, two, engine, stop)
    for each in two:
        assert each.disk.files("incoming") == []
        for errand in wanted:
            if each.id in errand.proven:
                assert errand.source is not None
                assert (each.root / errand.target).read_bytes() == errand.source.read_bytes()


def test_more_files_than_blocks_and_batches_pass_through_in_bounded_memory(
    tmp_path: Path, two: list[Volume], engine: Engine
) -> None:
    card = tmp_path / "many"
    card.mkdir()
    for number in range(150):
        (card / f"{number:04d}.JPG").write_bytes(number.to_bytes(2, "big") * 50)
    wanted = errands(card, two)
    assert brought(wanted, two, engine) == {}
    assert all(len(errand.proven) == 2 for errand in wanted)
    whole(card, two[1])
    # All three blocks are back.
    assert len({engine.pool.take() for _ in range(3)}) == 3
