"""Cards held against what unfinished ingests planned."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from support.cards import put, tiny_card, wav
from support.disks import MemoryDisk, Stopped
from support.takings import Taking

from archive.ingest.card import read_card, with_pairs
from archive.ingest.matching import Matches, match
from archive.ingest.unfinished import unfinished_on
from archive.store.digest import digest_at

NAMES = [f"DCIM/100NOCTU/NOCT000{number}.JPG" for number in (1, 2, 3)]
NOTE = "DCIM/100NOCTU/NOCT0002.WAV"


@pytest.fixture
def card(tmp_path: Path) -> Path:
    made = tiny_card(tmp_path / "card", 3)
    put(made, NOTE, wav())
    return made


@pytest.fixture
def taking(card: Path) -> Taking:
    """One whose ingest was killed when its first two files had their names."""
    disk = MemoryDisk()

    def stop(what: str) -> None:
        if what.startswith("publish masters/") and what.endswith("NOCT0002.WAV"):
            raise Stopped(what)

    disk.faults = stop
    with pytest.raises(Stopped):
        Taking({"BLUE": disk}).take(card)
    return Taking({"BLUE": disk.after_kill()})


def matched(taking: Taking, card: Path) -> Matches:
    found = read_card(card)
    files = with_pairs(found.files)
    return match(found, files, unfinished_on(taking.volumes), taking.setting(), taking.volumes)


def moved(path: Path) -> None:
    os.utime(path, ns=(path.stat().st_mtime_ns + 3600 * 10**9,) * 2)


def test_the_same_card_gives_everything_without_being_read(taking: Taking, card: Path) -> None:
    found = matched(taking, card)
    assert found.placed.keys() == {*NAMES, NOTE}
    assert {source for _, source in found.given} == {*NAMES, NOTE}
    assert [given.digest for given in found.given.values()] == [None] * 4
    assert len(found.at_hand) == 1


def test_of_files_with_another_time_those_that_lie_published_are_compared(taking: Taking, card: Path) -> None:
    for name in (NAMES[0], NAMES[2], NOTE):
        moved(card / name)
    found = {source: given.digest for (_, source), given in matched(taking, card).given.items()}
    assert found == {NAMES[0]: digest_at(card / NAMES[0]), NAMES[1]: None, NAMES[2]: None, NOTE: None}


def test_a_file_of_another_size_or_of_other_bytes_is_not_the_planned_one(taking: Taking, card: Path) -> None:
    spoiled = (card / NAMES[0]).read_bytes()
    (card / NAMES[0]).write_bytes(spoiled[:-1] + bytes([spoiled[-1] ^ 1]))
    (card / NOTE).write_bytes(wav(2))
    assert matched(taking, card).placed.keys() == {NAMES[1], NAMES[2]}


def test_a_card_of_which_half_is_gone_is_at_hand_no_more_and_times_are_taken_as_they_are(
    taking: Taking, card: Path
) -> None:
    (card / NAMES[0]).unlink()
    (card / NAMES[1]).unlink()
    moved(card / NAMES[2])
    found = matched(taking, card)
    assert found.at_hand == frozenset()
    assert found.placed.keys() == {NOTE}


def test_another_card_with_the_same_names_and_sizes_is_told_by_what_its_headers_say(
    taking: Taking, tmp_path: Path
) -> None:
    other = tiny_card(tmp_path / "other", 3, serial="000999")
    (record,) = unfinished_on(taking.volumes)
    sizes = {p.source: p.size for roll in record.record.rolls for p in roll.files}
    found = read_card(other)
    files = tuple(replace(file, size=sizes[file.path], modified_ns=1) for file in found.files)
    answer = match(found, files, [record], taking.setting(), taking.volumes)
    assert (answer.at_hand, answer.placed) == (frozenset(), {})


def test_rolls_that_were_stated_are_no_more_matched(taking: Taking, card: Path) -> None:
    setting = taking.setting()
    unfinished = unfinished_on(taking.volumes)
    known = {roll.id for each in unfinished for roll in each.record.rolls}
    found = read_card(card)
    answer = match(found, found.files, unfinished, replace(setting, known_rolls=known), taking.volumes)
    assert answer.placed == {}
