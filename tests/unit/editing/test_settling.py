from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.bench import selection_from
from archive.engine import operator
from archive.errors import ArchiveError, UsageError
from archive.journal.recipes import version_value
from archive.model.entry import OWN, SELECTION, SHARED, Change, Draft
from archive.model.recipe import Recipe

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def rival(place: Studio, name: str, *settings: tuple[str, dict[str, float]], shared: bool = False) -> str:
    """A version by someone who had not seen the others, as uniting two archives brings it."""
    bench = place.workspace.recipes.bench
    base = tuple(operator.checked(each, values) for each, values in settings)
    value = version_value(Recipe(foundation=bench.foundation, base=base), shared, "")
    frames = bench.several(name)
    changes: tuple[Change, ...]
    if shared:
        selection = selection_from(frames)
        changes = (
            Change(subjects=(selection.id,), layer=SELECTION, value=selection.to_json()),
            Change(subjects=(selection.id,), layer=SHARED, line="main", value=value),
        )
    else:
        changes = (Change(subjects=(frames[0].id,), layer=OWN, line="main", value=value),)
    return str(bench.state(Draft(kind="recipe", changes=changes)))


def values(place: Studio, name: str = FRAME) -> dict[str, float]:
    recipe = place.workspace.recipes.effective(place.workspace.frame(name))
    return {step.name: float(next(iter(step.values.values()))) for step in recipe.base}


def test_two_versions_are_shown_with_what_they_differ_in(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.1}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}), ("chroma", {"amount": 0.1}))
    (contest,) = place.workspace.recipes.contests.of(SEQUENCE)
    assert (contest.frames, contest.shared, len(contest.versions)) == (("NOCT0002.JPG",), False, 2)
    assert contest.differences == (("exposure", ("exposure −0.50 stops", "exposure +0.50 stops")),)
    assert place.workspace.frames(FRAME)[0].contested


def test_one_version_is_taken_and_the_contest_is_over(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    assert values(place) == {"exposure": -0.5}
    (saved,) = place.workspace.recipes.contests.settle(FRAME, take=first)
    assert saved.entry is not None
    assert values(place) == {"exposure": 0.5}
    assert not place.workspace.frames(FRAME)[0].contested
    with pytest.raises(UsageError, match="Nothing is contested"):
        place.workspace.recipes.contests.settle(FRAME, take=first)


def test_versions_are_joined_operator_by_operator(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.3}))
    second = rival(place, FRAME, ("exposure", {"stops": -0.5}), ("contrast", {"amount": 0.2}))
    settle = place.workspace.recipes.contests.settle
    with pytest.raises(UsageError, match="crop is in none of these versions"):
        settle(FRAME, operators={"crop": first})
    settle(FRAME, take=first, operators={"exposure": second, "contrast": second})
    assert values(place) == {"exposure": -0.5, "chroma": 0.3, "contrast": 0.2}


def test_an_operator_that_a_version_lacks_can_be_chosen_away(place: Studio) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}), ("chroma", {"amount": 0.3}))
    second = rival(place, FRAME, ("exposure", {"stops": -0.5}))
    place.workspace.recipes.contests.settle(FRAME, take=first, operators={"chroma": second})
    assert values(place) == {"exposure": 0.5}


def test_a_contested_sequence_is_settled_in_one_entry_and_each_layer_for_itself(place: Studio) -> None:
    ours = rival(place, SEQUENCE, ("exposure", {"stops": 0.5}), shared=True)
    rival(place, SEQUENCE, ("exposure", {"stops": -0.5}), shared=True)
    rival(place, FRAME, ("chroma", {"amount": 0.3}))
    rival(place, FRAME, ("chroma", {"amount": 0.1}))
    assert [contest.shared for contest in place.workspace.recipes.contests.of(SEQUENCE)] == [True, False]
    before = place.entries("recipe")
    (saved,) = place.workspace.recipes.contests.settle(SEQUENCE, take=ours)
    assert (saved.frames, saved.shared, place.entries("recipe")) == (6, True, before + 1)
    assert values(place, f"{SEQUENCE}#5") == {"exposure": 0.5}
    assert [c.shared for c in place.workspace.recipes.contests.of(SEQUENCE)] == [False]


def test_nothing_is_settled_without_a_choice(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    with pytest.raises(UsageError, match="Say what to settle it on"):
        place.workspace.recipes.contests.settle(FRAME)


def test_exports_take_the_newest_and_say_so_or_refuse(place: Studio) -> None:
    rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    report = place.export(FRAME, "still-web")
    assert report.contested == ("NOCT0002.JPG",)
    with pytest.raises(ArchiveError, match="claim to be current") as caught:
        place.export(FRAME, "still-web", strict=True)
    assert "noctuary recipe settle" in caught.value.hint
