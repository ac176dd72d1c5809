"""What an ingest will do, decided and recorded before the first byte."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import contents, tiny_card
from support.disks import MemoryDisk
from support.stopping import Stop
from support.takings import Taking, masters, statements

from archive.errors import ArchiveError
from archive.ingest.setting import Outcome
from archive.ingest.unfinished import read_unfinished


def two() -> dict[str, MemoryDisk]:
    return {"BLUE": MemoryDisk(), "RED": MemoryDisk()}


def test_the_record_is_durable_on_every_volume_before_anything_is_copied(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 3)
    disks = two()
    taking = Taking(disks)
    taking.take(card)
    for disk in disks.values():
        kept = next(i for i, what in enumerate(disk.log) if what.startswith("publish incoming/"))
        first = next(i for i, what in enumerate(disk.log) if what.startswith("publish masters/"))
        assert disk.log[kept + 1] == "sync incoming"
        assert kept + 1 < first


def test_a_record_names_its_volumes_and_every_file_once(tmp_path: Path) -> None:
    def stop(what: str) -> None:
        if what.startswith("publish masters/"):
            raise Stop

    card = tiny_card(tmp_path / "card", 3)
    disks = two()
    disks["RED"].faults = stop
    taking = Taking(disks)
    with pytest.raises(Stop):
        taking.take(card)
    records = [list(read_unfinished(disk).values()) for disk in disks.values()]
    assert records[0] == records[1]
    (record,) = records[0]
    assert record.volumes == tuple(volume.id for volume in taking.volumes)
    assert sorted(p.source for roll in record.rolls for p in roll.files) == sorted(contents(card))


def test_a_card_without_room_changes_nothing_anywhere(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 3)
    disks = two()
    disks["RED"].room = 1000
    (error,) = Taking(disks).take(card)
    assert isinstance(error, ArchiveError)
    assert "RED has 0.0 GB free" in error.message
    assert [disk.names for disk in disks.values()] == [{}, {}]


def test_a_second_volume_named_in_the_middle_gets_the_record_and_the_same_roll(tmp_path: Path) -> None:
    def stop(what: str) -> None:
        if what.endswith("NOCT0002.JPG"):
            raise Stop

    card = tiny_card(tmp_path / "card", 3)
    disks = two()
    disks["BLUE"].faults = stop
    with pytest.raises(Stop):
        Taking({"BLUE": disks["BLUE"]}).take(card)
    disks["BLUE"].faults = lambda _what: None
    (outcome,) = Taking(disks).take(card)
    assert isinstance(outcome, Outcome)
    assert masters(disks["BLUE"]) == masters(disks["RED"])
    assert len({roll["folder"] for roll in statements(list(disks.values()))}) == 1
    assert any(what.startswith("publish incoming/") for what in disks["RED"].log)
