"""Records of unfinished ingests on volumes."""

from __future__ import annotations

import errno
from dataclasses import replace

import pytest
from support.disks import MemoryDisk
from support.takings import STARTED, volume_in

from archive.errors import ArchiveError
from archive.formats.documents import NewerFormatError
from archive.formats.incoming import Incoming, PlannedRoll
from archive.ingest.unfinished import (
    forget_proven,
    forget_record,
    keep_proven,
    keep_record,
    read_unfinished,
    settle,
    unfinished_on,
)
from archive.model.identity import FrameId
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


def overwrite(volume: Volume, name: str, data: bytes) -> None:
    disk = volume.disk
    assert isinstance(disk, MemoryDisk)
    disk.names[f"incoming/{name}"].data[:] = data


def test_a_damaged_record_is_told_and_the_others_are_read(two: list[Volume]) -> None:
    keep_record(record("bad"), two[:1], raised)
    keep_record(record("good"), two[:1], raised)
    overwrite(two[0], "bad.json", b"{")
    told: list[str] = []
    (found,) = unfinished_on(two, lambda name, why: told.append(f"{name}: {why}"))
    assert found.record.id == "good"
    (text,) = told
    assert text.startswith("incoming/bad.json on BLUE: bad.json is not a readable document")


def test_a_record_that_another_volume_has_sound_is_not_told_and_counts_as_held_by_both(
    two: list[Volume],
) -> None:
    keep_record(record("one"), two, raised)
    overwrite(two[1], "one.json", b"")
    told: list[str] = []
    (found,) = unfinished_on(two, lambda name, _why: told.append(name))
    assert (found.holders, told) == ({volume.id for volume in two}, [])


def test_a_newer_release_s_record_is_left_for_it(two: list[Volume]) -> None:
    keep_record(record("one"), two[:1], raised)
    overwrite(two[0], "one.json", b'{"type":"noctuary-incoming","format":99}')
    with pytest.raises(NewerFormatError):
        unfinished_on(two)


def test_what_was_proven_is_known_of_all_volumes_and_goes_with_the_record(two: list[Volume]) -> None:
    digest = FrameId("xxh128:" + "0" * 32)
    keep_record(record("one"), two, raised)
    keep_proven("one", {"masters/n/r-1/A.JPG": digest}, two[0].disk)
    keep_proven("one", {"masters/n/r-1/B.JPG": digest}, two[1].disk)
    (found,) = unfinished_on(two)
    assert found.digests == {"masters/n/r-1/A.JPG": digest, "masters/n/r-1/B.JPG": digest}
    forget_record(record("one"), two[:1], raised)
    assert two[0].disk.files("incoming") == []
    assert len(two[1].disk.files("incoming")) == 2


def test_what_cannot_be_read_of_the_proven_is_only_not_known(two: list[Volume]) -> None:
    keep_record(record("one"), two[:1], raised)
    keep_proven("one", {"masters/n/r-1/A.JPG": FrameId("xxh128:" + "0" * 32)}, two[0].disk)
    (name,) = (name for name in two[0].disk.files("incoming") if name.endswith(".proven"))
    overwrite(two[0], name, b"{")
    (found,) = unfinished_on(two)
    assert found.digests == {}


def test_what_was_proven_of_ingests_that_are_finished_is_removed(two: list[Volume]) -> None:
    keep_record(record("one"), two[:1], raised)
    for ingest in ("one", "gone"):
        keep_proven(ingest, {"masters/n/r-1/A.JPG": FrameId("xxh128:" + "0" * 32)}, two[0].disk)
    forget_proven(two, raised)
    assert [name.partition("-")[0] for name in two[0].disk.files("incoming")] == ["one", "one.json"]


def test_settling_a_record_syncs_its_rolls_lists_and_the_journal(two: list[Volume]) -> None:
    disk = two[0].disk
    assert isinstance(disk, MemoryDisk)
    roll = PlannedRoll(id="1", folder="n/r-1", camera="c", night="n", site=None, card=None, files=())
    for path in ("masters/n/r-1/ascmhl/chain", "journal/2026-03/entry"):
        writing = disk.begin(path)
        writing.finish()
    settle(replace(record("one"), rolls=(roll,)), two, raised)
    assert disk.durable_names.keys() == {"masters/n/r-1/ascmhl/chain", "journal/2026-03/entry"}
