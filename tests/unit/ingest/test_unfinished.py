"""Records of unfinished ingests on volumes."""

from __future__ import annotations

import errno

import pytest
from support.disks import MemoryDisk
from support.takings import STARTED, volume_in

from archive.errors import ArchiveError
from archive.formats.incoming import Incoming
from archive.ingest.unfinished import forget_record, keep_record, read_unfinished, unfinished_on
from archive.store.volumes import Volume


def record(name: str, started: str = STARTED) -> Incoming:
    return Incoming(id=name, started=started, person="Ingrid", rolls=(), volumes=("v",))


@pytest.fixture
def two() -> list[Volume]:
    return [volume_in(MemoryDisk(), "BLUE"), volume_in(MemoryDisk(), "RED")]


def raised(_volume: Volume, error: ArchiveError) -> None:
    raise error


def test_a_record_is_on_every_volume_until_it_is_forgotten(two: list[Volume]) -> None:
    one = record("one")
    keep_record(one, two, raised)
    assert [read_unfinished(volume.disk) for volume in two] == [{"one": one}, {"one": one}]
    (found,) = unfinished_on(two)
    assert (found.record, found.holders) == (one, {two[0].id, two[1].id})
    forget_record(one, two[:1], raised)
    (found,) = unfinished_on(two)
    assert found.holders == {two[1].id}
    forget_record(one, two, raised)
    assert unfinished_on(two) == []


def test_records_of_several_volumes_come_oldest_first(two: list[Volume]) -> None:
    keep_record(record("new", "2026-03-20T06:00:00+00:00"), two[:1], raised)
    keep_record(record("old", "2026-03-18T06:00:00+00:00"), two[1:], raised)
    assert [each.record.id for each in unfinished_on(two)] == ["old", "new"]


def test_a_volume_that_cannot_be_written_is_told_and_the_other_has_the_record(two: list[Volume]) -> None:
    disk = two[0].disk
    assert isinstance(disk, MemoryDisk)

    def broken(_what: str) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    disk.faults = broken
    told: list[str] = []
    keep_record(record("one"), two, lambda volume, error: told.append(error.message))
    assert told == ["BLUE cannot be written: Read-only file system."]
    assert read_unfinished(two[1].disk).keys() == {"one"}
    forget_record(record("one"), two, lambda volume, error: told.append(error.message))
    assert len(told) == 2
