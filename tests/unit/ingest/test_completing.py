"""Volumes that lack what another one holds."""

from __future__ import annotations

from pathlib import Path

from support.cards import put, tiny_card, wav
from support.disks import MemoryDisk
from support.takings import Taking, listed, masters, statements

from archive.ingest.setting import Outcome


def taken(card: Path, **disks: MemoryDisk) -> Outcome:
    (outcome,) = Taking(disks).take(card)
    assert isinstance(outcome, Outcome)
    return outcome


def test_a_volume_named_later_gets_everything_the_card_still_has(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 3)
    blue, red = MemoryDisk(), MemoryDisk()
    taken(card, BLUE=blue)
    outcome = taken(card, BLUE=blue, RED=red)
    assert masters(red) == masters(blue)
    assert listed(red) == listed(blue)
    assert [note.path for note in outcome.completed] == ["RED"]
    assert (outcome.copied, len(outcome.held), outcome.failed) == (0, 3, [])
    assert len(statements([blue, red])) == 1


def test_two_files_of_the_same_bytes_are_brought_once(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 1)
    blue, red = MemoryDisk(), MemoryDisk()
    taken(card, BLUE=blue)
    put(card, "DCIM/101/COPY.JPG", (card / "DCIM/100NOCTU/NOCT0001.JPG").read_bytes())
    outcome = taken(card, BLUE=blue, RED=red)
    assert len(masters(red)) == 1
    assert len(outcome.held) == 2


def test_only_what_a_volume_lacks_is_brought_to_it(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    blue, red = MemoryDisk(), MemoryDisk()
    taken(card, BLUE=blue, RED=red)
    put(card, "DCIM/100NOCTU/NOCT0002.WAV", wav())
    taken(card, BLUE=blue)
    before = len(red.log)
    outcome = taken(card, BLUE=blue, RED=red)
    published = [what for what in red.log[before:] if what.startswith("publish masters/")]
    assert [what.rpartition("/")[2] for what in published if "ascmhl" not in what] == ["NOCT0002.WAV"]
    assert [note.text.split(" of ")[0] for note in outcome.completed] == ["1 files"]
    assert masters(red) == masters(blue)


def test_what_a_volume_was_promised_and_no_card_brings_is_told(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 3)
    other = tiny_card(tmp_path / "other", 1, serial="000999", first=20)
    blue, red = MemoryDisk(), MemoryDisk()

    def broken(what: str) -> None:
        if what.endswith(("NOCT0002.JPG", "NOCT0003.JPG")):
            raise OSError(5, "Input/output error")

    red.faults = broken
    assert "RED was left out" in taken(card, BLUE=blue, RED=red).waiting[0]
    red.faults = lambda _what: None
    outcome = taken(other, BLUE=blue, RED=red)
    (folder,) = {roll["folder"] for roll in statements([blue]) if len(roll["files"]) == 3}
    assert outcome.waiting == [
        f"RED lacks 2 files of masters/{folder}, which was taken in without it; "
        "take that card in again with it"
    ]
    assert len(listed(red)) == 2
    assert taken(card, BLUE=blue, RED=red).waiting == []
    assert listed(red) == listed(blue)
