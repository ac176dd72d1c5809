"""Appending, reading and uniting entries."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from support.builders import FakeClock, rating
from support.disks import MemoryDisk

from archive.errors import ArchiveError, DamagedFileError
from archive.formats import entry as entry_format
from archive.journal.counters import LAST
from archive.journal.log import Fault, Log
from archive.journal.uniting import unite
from archive.model.entry import Draft, Entry
from archive.model.identity import sha256_id
from archive.store.durable import LocalDisk, read_bytes, write_new
from archive.store.ports import Disk

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


def test_a_used_up_counter_is_refused_and_nothing_unreadable_written() -> None:
    disk = MemoryDisk()
    made, data = entry_format.encode(
        kind="rating",
        counter=LAST,
        time="2026-03-19T06:15:02Z",
        writer="w9",
        previous=None,
        person="",
        changes=(rating(1, 1),),
    )
    write_new(disk, "journal/2026-03", made.name, data)
    with pytest.raises(ArchiveError, match="last counter"):
        log(disk).append(draft())
    assert list(log(disk).names()) == [made.name]


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
    assert [item for item in items if isinstance(item, Entry)] == entries[3:]
    assert "is damaged" in faults.pop(entries[0].name)
    assert "was renamed" in faults.pop(renamed.name)
    assert "written by a newer release" in faults.pop(newer_name)
    assert faults == {}


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


def test_uniting_copies_what_lacks_and_repeating_it_changes_nothing() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    ours, theirs = log(one, writer="w1"), log(two, writer="w2")
    made = [ours.append(draft(1)), theirs.append(draft(2)), theirs.append(draft(3))]
    assert unite(two, one).copied == 2
    assert unite(one, two).copied == 1
    assert unite(two, one) == unite(one, two)
    assert unite(two, one).copied == 0
    assert unite(two, one).faults == ()
    in_order = sorted(made, key=lambda each: each.name)
    assert read(log(one)) == in_order == read(log(two))


def test_the_order_of_uniting_does_not_matter() -> None:
    sources = [MemoryDisk() for _ in range(3)]
    for number, source in enumerate(sources):
        log(source, writer=f"w{number}").append(draft(number))
    targets = MemoryDisk(), MemoryDisk()
    for source in sources:
        unite(source, targets[0])
    for source in reversed(sources):
        unite(source, targets[1])
    assert read(log(targets[0])) == read(log(targets[1]))


def test_the_same_name_with_other_bytes_is_a_fault_and_neither_is_changed(tmp_path: Path) -> None:
    one, two = LocalDisk(tmp_path / "one"), LocalDisk(tmp_path / "two")
    made, other = log(one).append(draft(1)), log(one).append(draft(2))
    unite(one, two)
    path = tmp_path / "two" / log(two).names()[made.name]
    path.chmod(0o644)
    path.write_bytes(b"else")
    sound = tmp_path / "one" / log(one).names()[made.name]
    before = sound.read_bytes()
    united = unite(two, one)
    assert [fault.name for fault in united.faults] == [made.name]
    assert "has other bytes in the two archives" in str(united.faults[0].error)
    assert (path.read_bytes(), sound.read_bytes()) == (b"else", before)
    assert other.name in log(one).names()


def test_a_damaged_entry_is_not_spread_by_uniting(tmp_path: Path) -> None:
    one, two = LocalDisk(tmp_path / "one"), LocalDisk(tmp_path / "two")
    bad, good = log(one).append(draft(1)), log(one).append(draft(2))
    path = tmp_path / "one" / log(one).names()[bad.name]
    path.chmod(0o644)
    path.write_bytes(b"{}")
    united = unite(one, two)
    assert (united.copied, [fault.name for fault in united.faults]) == (1, [bad.name])
    assert isinstance(united.faults[0].error, DamagedFileError)
    assert list(log(two).names()) == [good.name]


def test_an_entry_in_two_folders_of_the_source_is_copied_once() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    made = log(one).append(draft())
    write_new(one, "journal", made.name, read_bytes(one, log(one).names()[made.name]))
    assert unite(one, two).copied == 1
    assert len([path for path, _ in two.walk("journal")]) == 1


def test_an_entry_about_something_not_held_is_kept() -> None:
    disk = MemoryDisk()
    journal = log(disk)
    made = journal.append(Draft(kind="rating", changes=(rating(999, 5),)))
    assert read(journal) == [made]
