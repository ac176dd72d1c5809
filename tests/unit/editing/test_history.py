from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.history import History
from archive.errors import UsageError

FRAME = f"{SEQUENCE}#2"
PARAMETER = {"exposure": "stops", "contrast": "amount"}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_a_later_note_on_an_old_version_is_an_entry_of_its_own(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = str(recipes.set(FRAME, ["exposure.stops=0.5"], note="first").entry)
    recipes.set(FRAME, ["exposure.stops=1"])
    before = place.entries("recipe")
    assert recipes.note(FRAME, first[7:17], " the calendar took it ").entry is not None
    assert recipes.note(FRAME, first, "the calendar took it").entry is None
    assert place.entries("recipe") == before + 1
    lines = recipes.history(FRAME)[1]
    assert [(line.version.note, line.later_note) for line in lines] == [
        ("", ""), ("first", "the calendar took it")]  # fmt: skip
    assert [line.current for line in lines] == [True, False]
    recipes.note(FRAME, first, "")
    assert recipes.history(FRAME)[1][1].later_note == ""
    with pytest.raises(UsageError, match="at most 4000"):
        recipes.note(FRAME, first, "x" * 4001)


def test_changes_between_any_two_versions_are_told_whatever_their_line(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = str(recipes.set(FRAME, ["exposure.stops=-0.5"]).entry)
    recipes.lines.start(FRAME, "print")
    second = str(recipes.set(FRAME, ["exposure.stops=-0.83"]).entry)
    assert recipes.changes(FRAME, first, second) == ("exposure −0.50 → −0.83 stops",)
    assert recipes.changes(FRAME, second, first) == ("exposure −0.83 → −0.50 stops",)
    assert recipes.changes(FRAME, first) == ()
    assert [line.version.line for line in recipes.history(FRAME, line="main")[1]] == ["main"]


def test_a_shared_version_is_reinstated_with_its_ramps_for_those_who_shared_it(place: Studio) -> None:
    recipes = place.workspace.recipes
    ramped = str(recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"]).entry)
    keys = [recipes.effective(line.frame) for line in place.workspace.frames(SEQUENCE)]
    recipes.ramps.drop(SEQUENCE, "exposure.stops", value="0")
    saved = recipes.reinstate(SEQUENCE, ramped, shared=True)
    assert saved.frames == 6
    assert [recipes.effective(line.frame) for line in place.workspace.frames(SEQUENCE)] == keys
    with pytest.raises(UsageError, match="is no version of this frame"):
        recipes.reinstate(SEQUENCE, "ffffffff", shared=True)


def test_a_shared_version_becomes_a_frames_own_with_the_values_that_its_ramps_had(place: Studio) -> None:
    recipes = place.workspace.recipes
    ramped = str(recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear").entry)
    recipes.ramps.drop(SEQUENCE, "exposure.stops", value="0")
    recipes.reinstate(f"{SEQUENCE}#6", ramped)
    own = recipes.standing(place.workspace.frame(f"{SEQUENCE}#6")).own[0].recipe
    assert own.ramps == ()
    assert own.base[0].values["stops"] == -0.5


def test_the_newest_version_of_a_line_is_the_own_one(place: Studio) -> None:
    recipes = place.workspace.recipes
    history, frame = History(recipes.bench), place.workspace.frame(FRAME)
    assert history.newest(frame, "main") is None
    shared = recipes.set(SEQUENCE, ["exposure.stops=0.5"], shared=True).entry
    newest = history.newest(frame, "main")
    assert newest is not None
    assert newest.entry == shared
    own = recipes.set(FRAME, ["exposure.stops=1"]).entry
    newest = history.newest(frame, "main")
    assert newest is not None
    assert newest.entry == own


def test_one_entry_with_a_version_for_each_part_of_a_run_keeps_the_parts_apart(place: Studio) -> None:
    recipes = place.workspace.recipes

    def found() -> list[dict[str, float]]:
        lines = place.workspace.frames(SEQUENCE)
        bases = [recipes.effective(line.frame).base for line in lines]
        return [{step.name: float(step.values[PARAMETER[step.name]]) for step in base} for base in bases]

    recipes.set(f"{SEQUENCE}#1..3", ["exposure.stops=1"], shared=True)
    recipes.ramps.add(f"{SEQUENCE}#4..6", "exposure.stops", ["#4=0", "#6=0.5"])
    stops = [1, 1, 1, 0, 0.25, 0.5]
    both = str(recipes.set(SEQUENCE, ["contrast.amount=0.1"], shared=True).entry)
    assert found() == [{"contrast": 0.1, "exposure": each} for each in stops]
    recipes.set(SEQUENCE, ["contrast.amount=0.2"], shared=True)
    assert found() == [{"contrast": 0.2, "exposure": each} for each in stops]
    recipes.reinstate(SEQUENCE, both, shared=True)
    assert found() == [{"contrast": 0.1, "exposure": each} for each in stops]
    recipes.lines.start(SEQUENCE, "print", version=both, shared=True)
    assert found() == [{"contrast": 0.1, "exposure": each} for each in stops]
    recipes.lines.start(SEQUENCE, "again", shared=True)
    assert found() == [{"contrast": 0.1, "exposure": each} for each in stops]
