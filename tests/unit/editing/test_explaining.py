from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.explaining import value_in_words
from archive.model.editing import Source

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def why(place: Studio, name: str = FRAME, *, in_sequence: bool = False) -> dict[str, Source]:
    told = place.workspace.recipes.why(place.workspace.frame(name), in_sequence=in_sequence)
    return {source.part: source for source in told}


def test_own_shared_and_absent_values_are_told_apart(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(f"{SEQUENCE}#1", ["contrast.amount=0.2", "exposure.stops=0.5"])
    carried = recipes.carry(f"{SEQUENCE}#1", SEQUENCE).entry
    own = recipes.set(FRAME, ["exposure.stops=1"]).entry
    told = why(place)
    assert (told["exposure"].kind, told["exposure"].entry) == ("own", own)
    assert f"own version {str(own)[7:17]} of " in told["exposure"].origin
    assert told["exposure"].origin.endswith(" by Ingrid")
    assert (told["contrast"].kind, told["contrast"].entry) == ("shared", carried)
    assert told["contrast"].origin.endswith(f"carried from NOCT0001.JPG ({SEQUENCE}#1)")
    assert (told["crop"].kind, told["crop"].words) == ("not applied", "")
    in_movies = why(place, in_sequence=True)
    assert in_movies["exposure"].words == "exposure +0.50 stops"


def test_a_value_that_later_versions_kept_is_traced_to_where_it_came_from(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(f"{SEQUENCE}#1", ["contrast.amount=0.2"])
    first = str(recipes.carry(f"{SEQUENCE}#1", SEQUENCE).entry)[7:17]
    later = str(recipes.set(SEQUENCE, ["exposure.stops=0.5"], shared=True).entry)[7:17]
    told = why(place)
    assert f"shared version {first} " in told["contrast"].origin
    assert told["contrast"].origin.endswith(f"carried from NOCT0001.JPG ({SEQUENCE}#1), kept in {later}")
    assert f"shared version {later} " in told["exposure"].origin


def test_a_ramp_names_its_anchors_and_what_is_held_outside_them(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#2=0.5", "#4=-0.25"], rule="linear")
    assert why(place, f"{SEQUENCE}#3")["exposure"].ramps == (
        "ramp exposure.stops between the anchors at #2 (+0.50 stops) and #4 (−0.25 stops)",
    )
    assert why(place, f"{SEQUENCE}#1")["exposure"].ramps == (
        "ramp exposure.stops, held before the anchor at #2 (+0.50 stops)",
    )
    assert why(place, f"{SEQUENCE}#6")["exposure"].ramps == (
        "ramp exposure.stops, held from the anchor at #4 (−0.25 stops)",
    )


def test_the_finish_is_told_and_so_is_one_that_says_nothing(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.finish.add(FRAME, "sharpness", ["amount=0.4"])
    assert "finish: sharpness.amount 0.40" in why(place)["finish"].words
    recipes.finish.switch(FRAME, "sharpness-1", on=False)
    assert why(place)["finish"].words == "finish: nothing"


def test_a_value_has_its_unit_where_its_operator_is_known() -> None:
    assert value_in_words("exposure.stops", -0.5) == "−0.50 stops"
    assert value_in_words("glow.strength", -2.0) == "−2"
