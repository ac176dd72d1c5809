"""What stood before an entry: levelling, which other selections may hold too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.levelling import last_levellings, levels_of
from archive.editing.before import Before
from archive.editing.decisions import Decisions
from archive.editing.levelling import METHOD
from archive.errors import ArchiveError
from archive.journal.current import selections


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def told(place: Studio) -> list[float | None]:
    ids = [line.frame.id for line in place.workspace.frames(SEQUENCE)]
    found = levels_of(place.workspace.books.catalogue, ids)
    return [found[frame].stops if frame in found else None for frame in ids]


def level(place: Studio, part: str, *stops: float) -> str:
    frames = [line.frame for line in place.workspace.frames(f"{SEQUENCE}#{part}")]
    return str(place.workspace.levelling.state(frames, stops, region=(0, 0, 1, 1), cells=(1, 2)))


def test_levelling_goes_back_frame_by_frame_to_what_each_had(place: Studio) -> None:
    back = place.workspace.taking_back.take_back
    first = level(place, "1..3", 0.1, 0.2, 0.3)
    second = level(place, "2..5", 0.5, 0.6, 0.7, 0.8)
    assert told(place) == [0.1, 0.5, 0.6, 0.7, 0.8, None]
    with pytest.raises(ArchiveError, match="2 of what the entry"):
        back(first)
    taken = back(second)
    assert told(place) == [0.1, 0.2, 0.3, None, None, None]
    assert sorted(taken.words) == ["levelling as before for 2 frames", "levelling taken off 2 frames"]
    again = back(taken.entries[0])
    assert told(place) == [0.1, 0.5, 0.6, 0.7, 0.8, None]
    assert again.words == ("levelling as before for 4 frames",)
    assert back(first, even_so=True).overruled == 2
    assert told(place) == [None, None, None, 0.7, 0.8, None]
    place.workspace.books.rebuild()
    assert told(place) == [None, None, None, 0.7, 0.8, None]
    assert back(again.entries[0], even_so=True).overruled == 2


def test_levelling_that_was_taken_off_comes_back_as_it_was_stated(place: Studio) -> None:
    level(place, "1..3", 0.1, 0.2, 0.3)
    dropped = place.workspace.levelling.drop(SEQUENCE)
    assert told(place) == [None] * 6
    taken = place.workspace.taking_back.take_back(dropped)
    assert told(place) == [0.1, 0.2, 0.3, None, None, None]
    entry = Decisions(place.workspace.recipes.bench).entry(taken.entries[0])
    lists = selections(entry)
    (change,) = entry.about("levelling")
    assert set(change.subjects) == set(lists)
    stated = {"method": METHOD, "region": [0, 0, 1, 1], "cells": [1, 2], "stops": [0.1, 0.2, 0.3]}
    assert change.value == stated


def test_the_last_word_on_a_frames_levelling_is_known_when_it_took_it_off(place: Studio) -> None:
    level(place, "1..2", 0.1, 0.2)
    dropped = place.workspace.levelling.drop(f"{SEQUENCE}#2")
    one, two, three = (line.frame.id for line in place.workspace.frames(f"{SEQUENCE}#1..3"))
    last = last_levellings(place.workspace.books.catalogue, [one, two, three])
    assert (last[two], three in last) == (dropped, False)
    assert told(place)[:2] == [0.1, None]


def test_registers_that_nothing_stood_before_get_what_means_nothing(place: Studio) -> None:
    bench = place.workspace.recipes.bench
    place.workspace.statements.keyword([f"{SEQUENCE}#1"], "ice", on=True)
    line = place.workspace.custody.journal(newest=1).lines[0]
    found = Before(bench, Decisions(bench)).registers(line.entry, line.entry.changes)
    assert [(change.line, change.value) for change in found.changes] == [("ice", False)]
    assert (found.overruled, found.later, found.words) == (0, set(), [])
