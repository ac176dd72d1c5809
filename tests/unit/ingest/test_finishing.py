"""Judging where the pieces of a roll lie."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import put, tiny_card
from support.disks import MemoryDisk
from support.stopping import Stop, stop
from support.takings import Taking

from archive.ingest.card import Card
from archive.ingest.carrying import copy
from archive.ingest.finishing import Finished, finish
from archive.ingest.planning import Plan, make_plan
from archive.store.digest import digest_bytes

NO_CARD = Card(source=Path(), files=(), ignored=(), failed=())
FILES = {f"100NOCTU/NOCT000{n}.JPG" for n in (1, 2, 3)}


@pytest.fixture
def disks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, MemoryDisk]:
    """Two, on which an ingest has proven everything, and listed nothing."""
    made = {"BLUE": MemoryDisk(), "RED": MemoryDisk()}

    with monkeypatch.context() as patch, pytest.raises(Stop):
        patch.setattr("archive.ingest.run.conclude", stop)
        Taking(made).take(tiny_card(tmp_path / "card", 3))
    return made


def finished(disks: dict[str, MemoryDisk], card: Card = NO_CARD) -> tuple[Finished, Plan]:
    setting = Taking(disks).setting()
    plan = make_plan(card, setting)
    copy(plan, setting, lambda _count: None)
    ((rolled,),) = plan.rolls.values()
    return finish(rolled, plan), plan


def lose(disk: MemoryDisk, name: str) -> None:
    (path,) = (path for path in disk.names if path.endswith(name))
    del disk.names[path]


def spoil(disk: MemoryDisk, name: str) -> None:
    (path,) = (path for path in disk.names if path.endswith(name))
    disk.names[path].data[-3] ^= 1


def forget_digests(disks: dict[str, MemoryDisk]) -> None:
    for disk in disks.values():
        for path in [path for path in disk.names if path.endswith(".proven")]:
            del disk.names[path]


@pytest.mark.parametrize("known", [True, False], ids=["digests put down", "digests not known"])
def test_what_lies_everywhere_is_whole_without_its_card(disks: dict[str, MemoryDisk], known: bool) -> None:
    if not known:
        forget_digests(disks)
    found, plan = finished(disks)
    assert (found.amiss, found.changed) == ([], [])
    both = frozenset(volume.id for volume in plan.volumes)
    assert found.holders == dict.fromkeys(FILES, both)
    assert found.grades.keys() == both
    bytes_of = {path.split("/", 3)[-1]: bytes(node.data) for path, node in disks["RED"].names.items()}
    assert {file.path: file.digest for file in found.files} == {p: digest_bytes(bytes_of[p]) for p in FILES}


def test_what_lies_on_one_volume_alone_is_told_and_has_that_one_holder(disks: dict[str, MemoryDisk]) -> None:
    lose(disks["RED"], "NOCT0002.JPG")
    found, plan = finished(disks)
    ((path, text),) = [(note.path, note.text) for note in found.amiss]
    assert (path, text) == ("DCIM/100NOCTU/NOCT0002.JPG", "lies on BLUE alone, and no card here has it")
    blue = next(volume.id for volume in plan.volumes if volume.name == "BLUE")
    assert found.holders["100NOCTU/NOCT0002.JPG"] == {blue}


def test_what_lies_nowhere_is_told_and_not_listed(disks: dict[str, MemoryDisk]) -> None:
    for disk in disks.values():
        lose(disk, "NOCT0002.JPG")
    found, _ = finished(disks)
    assert [note.text for note in found.amiss] == [
        "was planned, was not copied, and no card here has it any more"
    ]
    assert found.holders.keys() == FILES - {"100NOCTU/NOCT0002.JPG"}


def test_the_copy_that_is_no_more_what_was_put_down_is_named_and_the_other_counts(
    disks: dict[str, MemoryDisk],
) -> None:
    spoil(disks["BLUE"], "NOCT0002.JPG")
    found, plan = finished(disks)
    assert [note.text for note in found.amiss] == [
        "is no more on BLUE what was copied there, and no card here has it"
    ]
    red = next(volume.id for volume in plan.volumes if volume.name == "RED")
    assert found.holders["100NOCTU/NOCT0002.JPG"] == {red}


def test_copies_that_differ_with_nothing_put_down_are_both_left_out(disks: dict[str, MemoryDisk]) -> None:
    forget_digests(disks)
    spoil(disks["BLUE"], "NOCT0002.JPG")
    found, _ = finished(disks)
    assert [note.text for note in found.amiss] == [
        "is not the same on BLUE and RED, and no card here has it to tell which is right"
    ]
    assert found.holders.keys() == FILES - {"100NOCTU/NOCT0002.JPG"}


def test_a_file_in_whose_place_the_card_has_another_is_changed_and_not_amiss(
    disks: dict[str, MemoryDisk], tmp_path: Path
) -> None:
    for disk in disks.values():
        lose(disk, "NOCT0002.JPG")
    from archive.ingest.card import read_card

    put(tmp_path / "card", "DCIM/100NOCTU/NOCT0002.JPG", b"\xff\xd8\xffother")
    setting = Taking(disks).setting()
    plan = make_plan(read_card(tmp_path / "card"), setting)
    copy(plan, setting, lambda _count: None)
    first = next(iter(plan.rolls.values()))
    found = finish(first[0], plan)
    assert found.amiss == []
    assert [note.path for note in found.changed] == ["DCIM/100NOCTU/NOCT0002.JPG"]
