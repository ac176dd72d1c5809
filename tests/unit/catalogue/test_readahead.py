"""Entries and hash lists read as rows, here or by another process."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.builders import camera, entry_id, ingest, rating, sequence_roll
from support.disks import MemoryDisk
from support.rolls import write_generation

from archive.catalogue.entryrows import EntryRows
from archive.catalogue.hands import Hands
from archive.catalogue.readahead import read_entries, read_lists
from archive.journal.log import Log
from archive.model.entry import Draft, Entry
from archive.store.durable import LocalDisk
from archive.store.ports import Disk

BOUND = 10**6
FOLDERS = ["2026-03-18/north-7c1f9a2e", "2026-03-19/north-7c1f9a2f", "2026-03-20/north-7c1f9a30"]


@pytest.fixture(scope="module")
def one() -> Iterator[Hands]:
    with Hands(1, alone_s=0) as hands:
        yield hands


def journal(disk: Disk) -> tuple[Log, list[Entry]]:
    log = Log([disk], writer="w1", person="Ingrid")
    drafts = [
        Draft(kind="ingest", changes=(camera(), ingest(sequence_roll(range(1, 4))))),
        *(Draft(kind="rating", changes=(rating(n, 3),)) for n in range(1, 40)),
    ]
    return log, [log.append(draft) for draft in drafts]


def together(read: Iterator[EntryRows]) -> list[object]:
    """All rows that were read, whatever pieces they came in."""
    found: list[object] = []
    for rows in read:
        held, rolls, derivatives, faults, _, affected = rows.plain()
        found += [(table, row) for (table, _), some in held.items() for row in some]
        found += [*rolls, *derivatives, *faults]
        found += [(name, each) for name, some in affected.items() for each in some]
    return sorted(found, key=repr)


def test_another_process_reads_the_same_rows_as_this_one(tmp_path: Path, one: Hands) -> None:
    log, entries = journal(LocalDisk(tmp_path))
    path = tmp_path / log.names()[entries[3].name]
    path.chmod(0o644)
    path.write_bytes(b"{}")
    names = [each.name for each in entries]
    told: list[tuple[str, int, int]] = []
    there = together(read_entries(one, names, log.places(), BOUND, lambda *progress: told.append(progress)))
    assert there == together(read_entries(Hands(), names, log.places(), BOUND))
    assert there == together(iter([EntryRows(log.read_new(set()))]))
    assert sum(1 for each in there if each[0] == "entry") == len(entries) - 1  # type: ignore[index]
    assert told == [("Reading the journal", done, 40) for done in (0, 16, 32)]


def test_of_two_copies_the_sound_one_counts_and_the_damaged_one_is_told(tmp_path: Path) -> None:
    log, entries = journal(LocalDisk(tmp_path / "a"))
    (name, ((sound, path),)), *_ = sorted(log.places().items())
    other = LocalDisk(tmp_path / "b")
    (tmp_path / "b" / path).parent.mkdir(parents=True)
    (tmp_path / "b" / path).write_bytes(b"torn")
    (rows,) = read_entries(Hands(), [name], {name: [(other, path), (sound, path)]}, BOUND)
    assert [fault for fault, _ in rows.faults] == [name]
    assert [row[0] for row in rows.held["entry", False]] == [entries[0].id]


def test_a_disk_that_is_no_local_folder_is_read_here(one: Hands) -> None:
    log, entries = journal(MemoryDisk())
    there = together(read_entries(one, [each.name for each in entries], log.places(), BOUND))
    assert there == together(iter([EntryRows(entries)]))


def test_a_counter_out_of_line_is_a_fault(tmp_path: Path) -> None:
    log, entries = journal(LocalDisk(tmp_path))
    (rows,) = read_entries(Hands(), [entries[7].name], log.places(), 3)
    assert [name for name, _ in rows.faults] == [entries[7].name]
    assert rows.held == {}


def test_hash_lists_are_read_where_they_changed_and_told_where_they_are_damaged(
    tmp_path: Path, one: Hands
) -> None:
    for folder in FOLDERS[:2]:
        write_generation(tmp_path / "masters" / folder, {"100NOCTU/A.DNG": b"pixels"})
    chain = tmp_path / "masters" / FOLDERS[1] / "ascmhl" / "ascmhl_chain.xml"
    chain.write_bytes(b"<torn")
    disk = LocalDisk(tmp_path)
    (((first,), ((damaged, message),)),) = read_lists(one, disk, FOLDERS, {})
    folder, state, files = first
    assert (folder, [path for path, _, _ in files]) == (FOLDERS[0], ["100NOCTU/A.DNG"])
    assert files[0][1].startswith("xxh128:")
    assert files[0][2] == len(b"pixels")
    assert damaged == FOLDERS[1] and "ascmhl" in message
    assert state is not None
    before = {FOLDERS[0]: state, FOLDERS[2]: str(entry_id(1))}
    ((told, _),) = read_lists(one, disk, FOLDERS, before)
    assert told == [(FOLDERS[2], None, [])], (
        "what was held before and has no list now; the first is as it was"
    )


def test_a_list_with_an_endless_path_is_damaged(tmp_path: Path) -> None:
    long = "/".join(["x" * 200] * 6)
    write_generation(tmp_path / "masters" / FOLDERS[0], {f"{long}.DNG": b"pixels"})
    (((), ((folder, message),)),) = read_lists(Hands(), LocalDisk(tmp_path), FOLDERS[:1], {})
    assert folder == FOLDERS[0] and "not counted as held" in message
