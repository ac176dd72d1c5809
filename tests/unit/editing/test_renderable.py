"""No recipe is recorded that makes no picture; those that older releases recorded are still read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.engine import operator
from archive.errors import ArchiveError, Exit
from archive.journal.recipes import save
from archive.model.recipe import OperatorValues, Recipe

FRAME = f"{SEQUENCE}#2"
UNKNOWN = f"xxh128:{32 * '7'}"
CROPPED = {"left": 0.6, "top": 0.0, "right": 0.6, "bottom": 0.0, "aspect": 0.0}
TOO_MUCH = "left and right together cut 120 % of the width, and at most 95 % can be cut"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


@contextmanager
def refused(place: Studio, told: str) -> Iterator[None]:
    """Refused in these words with code 3, and the journal is as it was."""
    before = journal(place)
    with pytest.raises(ArchiveError, match=told) as caught:
        yield
    assert caught.value.exit_code is Exit.REFUSED
    assert caught.value.hint.startswith("Nothing was changed.")
    assert journal(place) == before


def journal(place: Studio) -> list[Path]:
    return sorted((place.root / "journal").rglob("*.json"))


def recorded_long_ago(place: Studio, *steps: OperatorValues, name: str = FRAME) -> str:
    """A version as a release that did not check it recorded it."""
    bench = place.workspace.recipes.bench
    recipe = Recipe(foundation=bench.foundation, base=steps)
    draft = save(bench.standing(bench.one(name)), recipe, in_sequence=False)
    assert draft is not None
    return bench.state(draft)


def cropped_away() -> OperatorValues:
    return OperatorValues(name="crop", version=1, values=CROPPED)


@pytest.mark.parametrize("shared", [False, True])
@pytest.mark.parametrize(
    ("settings", "told"),
    [
        (["crop.left=0.6", "crop.right=0.6"], TOO_MUCH),
        (["crop.top=50%", "crop.bottom=46%"], "top and bottom together cut 96 % of the height"),
        (["crop.aspect=0.001"], "no picture is narrower than 0.05 of its height"),
        ([f"dark_frame.frames={UNKNOWN}"], r"dark_frame names 1 frame not known here: 7777777777\."),
    ],
)
def test_what_makes_no_picture_is_not_set(
    place: Studio, settings: list[str], told: str, shared: bool
) -> None:
    with refused(place, told):
        place.workspace.recipes.set(SEQUENCE if shared else FRAME, settings, shared=shared)


def test_a_side_that_is_set_later_counts_with_the_one_that_is_set_already(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["crop.left=0.6"])
    with refused(place, TOO_MUCH):
        recipes.set(FRAME, ["crop.right=0.6"])
    assert recipes.set(FRAME, ["crop.right=0.35"]).words == ("crop.right 0.0 → 35.0 %",)


def test_ramps_that_would_cross_at_any_frame_are_refused_by_its_name(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    ramps.add(SEQUENCE, "crop.left", ["#1=0.9", "#6=0"], rule="linear")
    ramps.add(SEQUENCE, "crop.right", ["#1=0", "#6=0.9"], rule="linear")
    # Of six frames the second has 72 % cut at the left, and would have 25 % at the right.
    with refused(place, r"At NOCT0002\.JPG the ramps would cross\. Crop: left and right together cut 97 %"):
        ramps.add(SEQUENCE, "crop.right", ["#3=0.5"])
    with refused(place, r"left and right together cut 180 %"):
        ramps.drop(SEQUENCE, "crop.right", value="0.9")
    ramps.add(SEQUENCE, "crop.right", ["#3=0.4"])


def test_a_recipe_recorded_long_ago_is_read_and_put_right(place: Studio) -> None:
    recipes = place.workspace.recipes
    recorded_long_ago(place, cropped_away(), operator.checked("exposure", {"stops": 0.5}))
    frame = place.workspace.frame(FRAME)
    assert [step.name for step in recipes.effective(frame).base] == ["crop", "exposure"]
    assert recipes.why(frame) and recipes.history(FRAME)[1]
    recipes.set(FRAME, ["crop.right=0.1"])
    recorded_long_ago(place, cropped_away())
    recipes.set(FRAME, ["exposure.stops=1"], drop=["crop"])


def test_a_recipe_recorded_long_ago_goes_nowhere_else(place: Studio) -> None:
    recipes = place.workspace.recipes
    entry = recorded_long_ago(place, cropped_away())
    with refused(place, TOO_MUCH):
        recipes.carry(FRAME, SEQUENCE)
    with refused(place, TOO_MUCH):
        recipes.carry(FRAME, SEQUENCE, dry_run=True)
    with refused(place, TOO_MUCH):
        recipes.house.save(FRAME, "Away")
    with refused(place, TOO_MUCH):
        recipes.lines.start(FRAME, "print")
    with refused(place, TOO_MUCH):
        recipes.set(FRAME, ["exposure.stops=1"])
    recipes.set(FRAME, ["crop.right=0.1"])
    with refused(place, TOO_MUCH):
        recipes.reinstate(FRAME, entry)


def test_a_house_recipe_that_makes_no_picture_is_not_kept(place: Studio, tmp_path: Path) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["crop.left=0.3"])
    recipes.house.save(FRAME, "Narrow")
    recipes.house.write("Narrow", tmp_path / "narrow.json")
    text = (tmp_path / "narrow.json").read_text()
    document = json.loads(text)
    (step,) = document["base"]
    step["values"] |= {"left": 0.6, "right": 0.6}
    (tmp_path / "away.json").write_text(json.dumps(document | {"name": "Away"}))
    step |= {"operator": "dark_frame", "values": {"frames": UNKNOWN, "share": 1.0}}
    (tmp_path / "dark.json").write_text(json.dumps(document | {"name": "Dark"}))
    with refused(place, TOO_MUCH):
        recipes.house.add(tmp_path / "away.json")
    with refused(place, "names 1 frame not known here"):
        recipes.house.add(tmp_path / "dark.json")


def test_dark_frames_of_a_night_that_is_away_stay_where_they_are_named(place: Studio) -> None:
    recipes = place.workspace.recipes
    recorded_long_ago(place, operator.checked("dark_frame", {"frames": UNKNOWN}))
    assert recipes.set(FRAME, ["exposure.stops=1"]).entry is not None
    with refused(place, "not known here"):
        recipes.carry(FRAME, SEQUENCE)


def test_taking_back_is_never_refused_for_what_stood_before(place: Studio) -> None:
    recorded_long_ago(place, cropped_away())
    saved = place.workspace.recipes.set(FRAME, ["crop.right=0.1"])
    assert saved.entry is not None
    assert place.workspace.taking_back.take_back(saved.entry).entries
