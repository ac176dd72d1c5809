"""The union of two journals, in any order, and what it leaves alone."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.builders import FakeClock, rating
from support.disks import MemoryDisk

from archive.errors import DamagedFileError
from archive.formats import entry as entry_format
from archive.journal.counters import LAST
from archive.journal.log import Fault, Log
from archive.journal.uniting import Found, differences, unite
from archive.model.entry import Draft, Entry
from archive.model.identity import canonical, sha256_id
from archive.store.durable import LocalDisk, read_bytes, write_new
from archive.store.ports import Disk


def log(*disks: Disk, writer: str = "w1") -> Log:
    return Log(disks, writer=writer, person="Ingrid", now=FakeClock(datetime(2026, 3, 18, tzinfo=UTC)))


def draft(value: int = 1) -> Draft:
    return Draft(kind="rating", changes=(rating(1, value),))


def read(of: Log) -> list[Entry]:
    items = list(of.read_new(set()))
    assert all(isinstance(item, Entry) for item in items)
    return [item for item in items if isinstance(item, Entry)]


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


@pytest.mark.parametrize("changed", [{"format": 7}, {"kind": "dream"}])
def test_entries_of_newer_releases_are_copied_as_they_are(changed: dict[str, object]) -> None:
    one, two = MemoryDisk(), MemoryDisk()
    made, data = entry_format.encode(
        kind="rating", counter=1, time="2026-03-19T06:15:02Z", writer="w", previous=None, person="",
        changes=(rating(1, 1),),
    )  # fmt: skip
    data = canonical(json.loads(data) | changed)
    name = entry_format.entry_name(1, made.time, str(changed.get("kind", "rating")), sha256_id(data))
    write_new(one, "journal/2026-03", name, data)
    united = unite(one, two)
    assert (united.copied, united.faults) == (1, ())
    assert read_bytes(two, f"journal/2026-03/{name}") == data


def test_a_forged_counter_is_not_spread() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    good = log(one).append(draft(1))
    made, data = entry_format.encode(
        kind="rating", counter=LAST, time="2026-03-19T06:15:02Z", writer="w", previous=None, person="",
        changes=(rating(1, 1),),
    )  # fmt: skip
    write_new(one, "journal/2026-03", made.name, data)
    united = unite(one, two)
    assert (united.copied, [fault.name for fault in united.faults]) == (1, [made.name])
    assert list(log(two).names()) == [good.name]


def test_without_comparing_names_are_enough_and_nothing_is_locked_or_read_for_nothing() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    made = log(one).append(draft(1))
    unite(one, two)
    one.names[log(one).names()[made.name]].data[:] = b"else"
    steps = two.steps
    assert unite(one, two, compare=False).faults == ()
    assert unite(one, two).faults != ()
    assert two.steps == steps


def test_differences_are_found_without_writing() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    made = [log(one).append(draft(value)) for value in range(2)]
    found = list(differences(one, two))
    assert [item.entry for item in found if isinstance(item, Found)] == made
    assert not any(isinstance(item, Fault) for item in found)
    assert two.steps == 0
