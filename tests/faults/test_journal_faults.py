"""Every step of appending an entry and of recording a hash-list generation, stopped, and what is left."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from support.builders import STARTED, FakeClock, rating
from support.disks import REMAINS, MemoryDisk, Stopped
from support.rolls import hashed

from archive.formats import entry as entry_format
from archive.formats.hashchain import c4, read_chain
from archive.formats.hashlist import HashedFile
from archive.journal.log import Log
from archive.model.entry import Draft, Entry
from archive.store.durable import read_bytes
from archive.store.masters import record_generation
from archive.store.volumes import MASTERS, chain_state, held_files

pytestmark = pytest.mark.slow

FOLDER = "2026-03-18/north-7c1f9a2e"
HISTORY = f"{MASTERS}/{FOLDER}/ascmhl"
GENERATIONS = (
    [hashed("a.DNG", b"a"), hashed("b.DNG", b"b")],
    [hashed("c.DNG", b"c")],
    [hashed("d.DNG", b"d")],
)


class Run:
    """A program that is stopped somewhere; ``acknowledged`` is what it had told of as done."""

    def __init__(self) -> None:
        self.acknowledged: list[object] = []


def append_three(disk: MemoryDisk, run: Run) -> None:
    log = Log([disk], writer="w1", person="Ingrid", now=FakeClock())
    for value in (1, 2, 3):
        run.acknowledged.append(log.append(Draft(kind="rating", changes=(rating(1, value),))))


def record_three(disk: MemoryDisk, run: Run) -> None:
    for number, files in enumerate(GENERATIONS):
        record(disk, files, number)
        run.acknowledged += files


def record(disk: MemoryDisk, files: list[HashedFile], number: int) -> None:
    record_generation(
        disk,
        FOLDER,
        files,
        created=STARTED + timedelta(hours=number),
        tool_version="0.1.0",
        process="transfer",
        author="Ingrid",
    )


def steps_of(program: Callable[[MemoryDisk, Run], None]) -> int:
    disk = MemoryDisk()
    program(disk, Run())
    return disk.steps


APPEND_STEPS, RECORD_STEPS = steps_of(append_three), steps_of(record_three)


def stopped(
    program: Callable[[MemoryDisk, Run], None], stop_at: int, after: bool, remains: str
) -> tuple[MemoryDisk, Run]:
    """What lies on the disk after the machine went away at a step."""
    disk, run = MemoryDisk(stop_at=stop_at, after=after), Run()
    with pytest.raises(Stopped):
        program(disk, run)
    left: MemoryDisk = getattr(disk, remains)()
    return left, run


def entries_on(disk: MemoryDisk) -> list[Entry]:
    """Every entry; fails if a file is there whose name is not its bytes."""
    return [
        entry_format.decode(read_bytes(disk, path), path.rpartition("/")[2])
        for path, _ in disk.walk("journal")
    ]


@pytest.mark.parametrize("remains", REMAINS)
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("stop_at", range(1, APPEND_STEPS + 1))
def test_an_append_stopped_at_any_step_loses_nothing_and_the_next_run_completes(
    stop_at: int, after: bool, remains: str
) -> None:
    disk, run = stopped(append_three, stop_at, after, remains)
    left = entries_on(disk)
    assert {entry.id for entry in run.acknowledged} <= {entry.id for entry in left}  # type: ignore[attr-defined]
    again = Log([disk], writer="w1", person="Ingrid", now=FakeClock(STARTED + timedelta(days=1)))
    made = again.append(Draft(kind="rating", changes=(rating(1, 4),)))
    held = entries_on(disk)
    assert made in held
    assert len(held) == len(left) + 1
    counters = sorted(entry.counter for entry in held)
    assert counters == list(range(1, len(held) + 1))
    assert {entry.previous for entry in held} <= {None, *(entry.id for entry in held)}
    assert disk.files("incoming") == []


@pytest.mark.parametrize("remains", REMAINS)
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("stop_at", range(1, RECORD_STEPS + 1))
def test_a_generation_stopped_at_any_step_loses_nothing_and_the_next_run_completes(
    stop_at: int, after: bool, remains: str
) -> None:
    disk, run = stopped(record_three, stop_at, after, remains)
    acknowledged = {file.path for file in run.acknowledged}  # type: ignore[attr-defined]
    assert acknowledged <= held_files(disk, FOLDER).keys()
    for number, files in enumerate(GENERATIONS):
        record(disk, files, number + 100)
    assert held_files(disk, FOLDER).keys() == {"a.DNG", "b.DNG", "c.DNG", "d.DNG"}
    chain = chain_state(disk, FOLDER)
    assert chain is not None
    links = read_chain(chain)
    assert [link.c4 for link in links] == [c4(read_bytes(disk, f"{HISTORY}/{link.path}")) for link in links]
    assert sorted(disk.files(HISTORY)) == sorted([*(link.path for link in links), "ascmhl_chain.xml"])


@pytest.mark.parametrize("remains", REMAINS)
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("stop_at", range(1, RECORD_STEPS + 1))
def test_a_generation_left_by_a_stop_gives_way_when_the_next_run_has_other_files(
    stop_at: int, after: bool, remains: str
) -> None:
    disk, run = stopped(record_three, stop_at, after, remains)
    before = set(held_files(disk, FOLDER))
    record(disk, [hashed("e.DNG", b"e")], 200)
    assert held_files(disk, FOLDER).keys() == before | {"e.DNG"}
    assert {file.path for file in run.acknowledged} <= before  # type: ignore[attr-defined]


def without(disk: MemoryDisk, what: str) -> None:
    """Make a disk forget to do what a kind of call promises; its calls still count."""
    setattr(disk, what, lambda *arguments, **options: None)


def test_a_forgotten_folder_sync_is_noticed_by_these_tests() -> None:
    disk, run = MemoryDisk(), Run()
    without(disk, "sync_folder")
    append_three(disk, run)
    assert entries_on(disk.after_power_loss()) == []
    assert len(run.acknowledged) == 3


def test_a_forgotten_file_sync_is_noticed_by_these_tests(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("support.disks.MemoryWriting.finish", lambda self, **options: None)
    disk = MemoryDisk()
    append_three(disk, Run())
    assert all(data.size == 0 for _, data in disk.after_torn_loss().walk("journal"))
