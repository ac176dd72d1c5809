"""Appending and reading entries, and who writes them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from support.builders import FakeClock, rating
from support.disks import MemoryDisk

from archive.errors import ArchiveError
from archive.formats import entry as entry_format
from archive.journal.counters import LAST, STRIDE
from archive.journal.folders import Folders, strangers
from archive.journal.log import Fault, Log
from archive.model.entry import Draft, Entry
from archive.model.identity import sha256_id
from archive.store.durable import LocalDisk, read_bytes, write_new
from archive.store.ports import Disk
from archive.store.userplace import Writer

START = datetime(2026, 3, 31, 23, 59, 59, tzinfo=UTC)


def log(*disks: Disk, writer: str = "w1", start: datetime = START) -> Log:
    return Log(disks, writer=writer, person="Ingrid", now=FakeClock(start))


def draft(value: int = 1) -> Draft:
    return Draft(kind="rating", changes=(rating(1, value),))


def read(of: Log) -> list[Entry]:
    items = list(of.read_new(set()))
    assert all(isinstance(item, Entry) for item in items)
    return [item for item in items if isinstance(item, Entry)]


def test_an_entry_lies_in_the_month_it_was_written_in_under_its_own_name() -> None:
    disk = MemoryDisk()
    journal = log(disk)
    first, second = journal.append(draft(1)), journal.append(draft(2))
    assert journal.names() == {
        first.name: f"journal/2026-03/{first.name}",
        second.name: f"journal/2026-04/{second.name}",
    }
    assert first.name.startswith("0000000001-20260331T235959Z-rating-")
    assert sha256_id(read_bytes(disk, f"journal/2026-03/{first.name}")) == first.id
    assert disk.files("incoming") == []


def test_time_is_written_in_utc_whatever_the_clock_gives() -> None:
    start = datetime(2026, 4, 1, 1, 0, 0, 999_999, tzinfo=timezone(timedelta(hours=2)))
    assert log(MemoryDisk(), start=start).append(draft()).time == "2026-03-31T23:00:00Z"


def test_entries_count_up_and_each_follows_the_one_before() -> None:
    journal = log(MemoryDisk())
    entries = [journal.append(draft(value)) for value in range(4)]
    assert [each.counter for each in entries] == [1, 2, 3, 4]
    assert [each.previous for each in entries] == [None, *(each.id for each in entries[:-1])]
    assert read(journal) == entries


def test_the_counter_is_above_every_name_held_also_of_other_writers() -> None:
    disk = MemoryDisk()
    ours, theirs = log(disk, writer="w1"), log(disk, writer="w2")
    first = ours.append(draft(1))
    other = theirs.append(draft(2))
    third = ours.append(draft(3))
    assert [first.counter, other.counter, third.counter] == [1, 2, 3]
    assert other.previous is None
    assert third.previous == first.id


def test_a_reopened_journal_goes_on_with_the_chain_of_its_own_writer() -> None:
    disk = MemoryDisk()
    first = log(disk, writer="w1").append(draft(1))
    log(disk, writer="w2").append(draft(2))
    assert log(disk, writer="w1").append(draft(3)).previous == first.id


def test_the_counter_is_above_names_that_only_another_volume_holds() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    late = [log(two, writer="w2").append(draft(value)) for value in range(3)]
    both = log(one, two)
    assert both.append(draft(9)).counter == 4
    assert [each.counter for each in read(both)] == [1, 2, 3, 4]
    assert read(both)[:3] == [late[0], *read(log(two))[1:3]]


def test_an_entry_is_on_every_volume_when_it_is_acknowledged() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    journal = log(one, two)
    made = journal.append(draft())
    assert read(journal.on(two)) == [made] == read(journal.on(one))


def forged(disk: Disk, counter: int, value: int = 1) -> Entry:
    """An entry of another hand, whole, with a counter of its choice."""
    made, data = entry_format.encode(
        kind="rating",
        counter=counter,
        time="2026-03-19T06:15:02Z",
        writer="w9",
        previous=None,
        person="",
        changes=(rating(1, value),),
    )
    write_new(disk, "journal/2026-03", made.name, data)
    return made


def test_a_forged_counter_neither_counts_nor_blocks_writing() -> None:
    disk = MemoryDisk()
    journal = log(disk)
    first = journal.append(draft(1))
    made = forged(disk, LAST)
    second = journal.append(draft(2))
    assert (first.counter, second.counter) == (1, 2)
    *entries, fault = journal.read_new(set())
    assert entries == [first, second]
    assert isinstance(fault, Fault)
    assert fault.name == made.name
    assert "far above all others, which end at 2" in str(fault.error)
    assert made.name in journal.names()


def test_a_counter_within_the_stride_is_taken_up_and_writing_goes_on_above_it() -> None:
    disk = MemoryDisk()
    forged(disk, STRIDE)
    assert log(disk).append(draft()).counter == STRIDE + 1


def test_a_journal_that_has_really_come_to_its_last_counter_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("archive.journal.log.LAST", 2)
    disk = MemoryDisk()
    journal = log(disk)
    kept = [journal.append(draft(value)).name for value in range(2)]
    with pytest.raises(ArchiveError, match="last counter"):
        journal.append(draft())
    assert list(journal.names()) == kept


def test_what_an_earlier_run_left_unfinished_is_tidied_under_the_lock() -> None:
    disk = MemoryDisk()
    disk.begin("incoming/journal-0011aabb.part")
    disk.begin("incoming/ingest-0011aabb.part")
    log(disk).append(draft())
    assert disk.files("incoming") == ["ingest-0011aabb.part"]


def test_only_what_is_not_known_is_read() -> None:
    journal = log(MemoryDisk())
    first, second = journal.append(draft(1)), journal.append(draft(2))
    assert list(journal.read_new({first.name})) == [second]
    assert list(journal.read_new({first.name, second.name})) == []


def test_faults_are_told_by_name_and_take_no_other_entry_down(tmp_path: Path) -> None:
    journal = log(LocalDisk(tmp_path))
    entries = [journal.append(draft(value)) for value in range(5)]
    paths = [tmp_path / journal.names()[each.name] for each in entries]
    for path in paths:
        path.chmod(0o644)
    paths[0].write_bytes(paths[0].read_bytes()[:-1])
    renamed = paths[1].with_name(paths[1].name.replace("000000000", "000000001"))
    paths[1].rename(renamed)
    newer = json.dumps(
        json.loads(paths[2].read_bytes()) | {"format": 2}, sort_keys=True, separators=(",", ":")
    ).encode()
    newer_name = entry_format.entry_name(3, entries[2].time, "rating", sha256_id(newer))
    paths[2].with_name(newer_name).write_bytes(newer)
    paths[2].unlink()
    (paths[3].parent / "notes.txt").write_text("not an entry")
    items = list(journal.read_new(set()))
    faults = {item.name: str(item.error) for item in items if isinstance(item, Fault)}
    assert [item for item in items if isinstance(item, Entry) and not item.newer] == entries[3:]
    assert [item.name for item in items if isinstance(item, Entry) and item.newer] == [newer_name]
    assert "is cut short" in faults.pop(entries[0].name)
    assert "was renamed" in faults.pop(renamed.name)
    assert faults == {}
    assert strangers(Folders(LocalDisk(tmp_path)).look()) == [f"journal/{paths[3].parent.name}/notes.txt"]


def test_a_link_in_the_journal_is_no_entry(tmp_path: Path) -> None:
    journal = log(LocalDisk(tmp_path))
    made = journal.append(draft())
    path = tmp_path / journal.names()[made.name]
    path.rename(tmp_path / "moved")
    path.symlink_to(tmp_path / "moved")
    assert list(journal.read_new(set())) == []


def test_a_damaged_own_entry_is_passed_over_in_the_chain(tmp_path: Path) -> None:
    disk = LocalDisk(tmp_path)
    journal = log(disk)
    first, second = journal.append(draft(1)), journal.append(draft(2))
    path = tmp_path / journal.names()[second.name]
    path.chmod(0o644)
    path.write_bytes(b"")
    again = log(disk).append(draft(3))
    assert again.previous == first.id
    assert again.counter == 3


def test_an_entry_about_something_not_held_is_kept() -> None:
    disk = MemoryDisk()
    journal = log(disk)
    made = journal.append(Draft(kind="rating", changes=(rating(999, 5),)))
    assert read(journal) == [made]


def test_an_entry_that_is_sound_on_one_volume_counts_and_its_damaged_copy_is_told(tmp_path: Path) -> None:
    one, two = LocalDisk(tmp_path / "one"), LocalDisk(tmp_path / "two")
    both = log(one, two)
    made = both.append(draft())
    path = tmp_path / "one" / both.names()[made.name]
    path.chmod(0o644)
    path.write_bytes(b"")
    fault, entry = both.read_new(set())
    assert isinstance(fault, Fault) and "is empty" in str(fault.error)
    assert entry == made == both.read(made.name, both.places()[made.name])
    path.unlink()
    assert list(both.read_new(set())) == [made]


# -- writers -----------------------------------------------------------------------------------


def told_by(disk: Disk, writer: Writer, start: datetime = START) -> tuple[Log, list[str]]:
    said: list[str] = []
    return Log([disk], writer=writer, person="Ingrid", now=FakeClock(start), say=said.append), said


def test_a_writer_that_knows_its_last_entry_reads_none_to_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    disk = MemoryDisk()
    writer = Writer("w1", complete=True)
    journal, _ = told_by(disk, writer)
    monkeypatch.setattr("archive.journal.log.read_entry", lambda *_: pytest.fail("an entry was read"))
    first, second = journal.append(draft(1)), journal.append(draft(2))
    again, said = told_by(disk, writer)
    assert again.append(draft(3)).previous == second.id
    assert (first.previous, said) == (None, [])


def test_the_chain_goes_on_behind_a_last_entry_that_was_damaged(tmp_path: Path) -> None:
    disk = LocalDisk(tmp_path)
    writer = Writer("w1", complete=True)
    journal, _ = told_by(disk, writer)
    made = journal.append(draft(1))
    path = tmp_path / journal.names()[made.name]
    path.chmod(0o644)
    path.write_bytes(b"")
    assert journal.append(draft(2)).previous == made.id


def test_a_newer_entry_of_its_own_that_a_writer_forgot_is_followed() -> None:
    disk = MemoryDisk()
    writer = Writer("w1", complete=True)
    journal, _ = told_by(disk, writer)
    journal.append(draft(1))
    remembered = writer.last
    second = journal.append(draft(2))
    other = log(disk, writer="w2").append(draft(3))
    again, _ = told_by(disk, Writer("w1", last=remembered, complete=True))
    made = again.append(draft(4))
    assert (made.previous, made.counter) == (second.id, other.counter + 1)


def test_a_writer_whose_last_entry_is_gone_goes_on_as_another_and_says_so() -> None:
    disk, copy = MemoryDisk(), MemoryDisk()
    writer = Writer("w1", complete=True)
    journal, _ = told_by(disk, writer)
    first = journal.append(draft(1))
    write_new(copy, "journal/2026-03", first.name, read_bytes(disk, journal.names()[first.name]))
    journal.append(draft(2))
    elsewhere, said = told_by(copy, writer)
    made = elsewhere.append(draft(3))
    assert made.writer != "w1"
    assert made.previous is None
    assert len(said) == 1 and "is not in this journal" in said[0]


def test_an_entry_written_after_the_journal_was_looked_at_is_not_forgotten() -> None:
    disk = MemoryDisk()
    writer = Writer("w1", complete=True)
    journal, _ = told_by(disk, writer)
    held = journal.look()
    made = told_by(disk, writer)[0].append(draft())
    assert journal.forgotten(held) is None
    disk.remove(journal.names()[made.name])
    assert journal.forgotten(held) == made.name


def test_a_clock_that_was_set_back_is_told_and_decides_nothing() -> None:
    disk = MemoryDisk()
    journal, _ = told_by(disk, Writer("w1", complete=True))
    first = journal.append(draft(1))
    back, said = told_by(disk, Writer("w1"), START - timedelta(days=1))
    second = back.append(draft(2))
    assert (second.counter, second.previous) == (2, first.id)
    assert second.time < first.time
    assert len(said) == 1 and "The clock of this machine reads 2026-03-30 23:59:59 UTC" in said[0]
