from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.bench import finish_speaking, selection_from, version_named
from archive.errors import UsageError
from archive.model.recipe import Recipe

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_a_selection_has_its_frames_with_their_times(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    assert selection_from(frames).milliseconds == tuple(10_000 * n for n in range(6))


def test_whether_an_own_version_counts_in_sequences_stays_unless_it_is_said(place: Studio) -> None:
    recipes = place.workspace.recipes
    assert not recipes.set(FRAME, ["exposure.stops=0.5"]).in_sequence
    assert recipes.set(FRAME, ["exposure.stops=0.6"], in_sequence=True).in_sequence
    assert recipes.set(FRAME, ["exposure.stops=0.7"]).in_sequence
    assert not recipes.set(FRAME, ["exposure.stops=0.7"], in_sequence=False).in_sequence


def test_frames_on_several_lines_are_not_changed_together(place: Studio) -> None:
    place.workspace.recipes.lines.start(FRAME, "print")
    with pytest.raises(UsageError, match="on several lines: main, print"):
        place.workspace.recipes.set(SEQUENCE, ["exposure.stops=0.5"], shared=True)
    bench = place.workspace.recipes.bench
    assert bench.one_line(bench.standings(bench.several(FRAME))) == "print"
    place.workspace.recipes.lines.rename(FRAME, "print", "calendar")
    with pytest.raises(UsageError, match="on several lines: main, calendar"):
        place.workspace.recipes.set(SEQUENCE, ["exposure.stops=0.5"], shared=True)


def test_a_version_is_named_by_the_start_of_its_id_alone(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = recipes.set(FRAME, ["exposure.stops=0.5"]).entry
    second = recipes.set(FRAME, ["exposure.stops=1"]).entry
    versions = [line.version for line in recipes.history(FRAME)[1]]
    assert first is not None
    assert version_named(versions, first).entry == first
    assert version_named(versions, str(second)[7:15]).entry == second
    for start in ("", "sha256:", "nothing"):
        with pytest.raises(UsageError, match="is no version of this frame"):
            version_named(versions, start)


def test_the_finish_that_speaks_is_the_own_one_else_the_shared_one(place: Studio) -> None:
    bench, recipes = place.workspace.recipes.bench, place.workspace.recipes
    frame = bench.one(FRAME)
    assert finish_speaking(bench.standing(frame)) is None
    recipes.finish.add(SEQUENCE, "sharpness", ["amount=0.4"], shared=True)
    (item,) = finish_speaking(bench.standing(frame)) or ()
    assert item.step.values["amount"] == 0.4
    recipes.finish.remove(FRAME, "sharpness-1")
    assert finish_speaking(bench.standing(frame)) == ()


def test_an_own_recipe_that_is_none_says_nothing(place: Studio) -> None:
    bench = place.workspace.recipes.bench
    standing = bench.standing(bench.one(FRAME))
    assert bench.own_recipe(standing) == Recipe(foundation=bench.foundation)
    assert bench.effective(standing).base == ()
