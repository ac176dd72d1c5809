from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def listed(place: Studio, name: str = FRAME) -> list[tuple[str, bool]]:
    return [(item.id, item.on) for item in place.workspace.recipes.finish.items(name)]


def test_an_operator_may_come_again_and_has_its_place(place: Studio) -> None:
    finish = place.workspace.recipes.finish
    assert listed(place) == []
    finish.add(FRAME, "sharpness", ["amount=0.5"])
    finish.add(FRAME, "contrast", ["amount=0.1"])
    finish.add(FRAME, "sharpness", ["amount=0.2", "radius=0.8"], at=1)
    assert [name for name, _ in listed(place)] == ["sharpness-2", "sharpness-1", "contrast-1"]
    steps = place.workspace.recipes.effective(place.workspace.frame(FRAME)).finish
    assert [step.values["amount"] for step in steps] == [0.2, 0.5, 0.1]


def test_items_are_moved_switched_adjusted_and_removed(place: Studio) -> None:
    finish = place.workspace.recipes.finish
    finish.add(FRAME, "sharpness", ["amount=0.5"])
    finish.add(FRAME, "contrast", ["amount=0.1"])
    saved = finish.move(FRAME, "contrast-1", 1)
    assert saved.words == ("finish: now in the order contrast-1, sharpness-1",)
    assert finish.switch(FRAME, "contrast-1", on=False).words == ("finish contrast-1: switched off",)
    assert listed(place) == [("contrast-1", False), ("sharpness-1", True)]
    effective = place.workspace.recipes.effective(place.workspace.frame(FRAME))
    assert [step.name for step in effective.finish] == ["sharpness"]
    assert finish.adjust(FRAME, "sharpness-1", ["amount=0.7"]).words == (
        "finish sharpness-1: sharpness.amount 0.50 → 0.70",
    )
    finish.remove(FRAME, "contrast-1")
    assert listed(place) == [("sharpness-1", True)]
    assert finish.switch(FRAME, "sharpness-1", on=True).entry is None


def test_an_own_finish_begins_as_the_shared_one_and_overrides_it_whole(place: Studio) -> None:
    finish = place.workspace.recipes.finish
    finish.add(SEQUENCE, "sharpness", ["amount=0.5"], shared=True)
    finish.add(FRAME, "contrast", ["amount=0.1"])
    assert [name for name, _ in listed(place)] == ["sharpness-1", "contrast-1"]
    finish.switch(SEQUENCE, "sharpness-1", on=False, shared=True)
    assert listed(place) == [("sharpness-1", True), ("contrast-1", True)]
    assert listed(place, f"{SEQUENCE}#3") == [("sharpness-1", False)]


def test_what_cannot_be_is_refused_and_changes_nothing(place: Studio) -> None:
    finish = place.workspace.recipes.finish
    with pytest.raises(UsageError, match="exposure cannot be a finish step") as caught:
        finish.add(FRAME, "exposure", ["stops=1"])
    assert "sharpness" in caught.value.hint
    finish.add(FRAME, "sharpness")
    before = place.entries("recipe")
    for attempt in (
        lambda: finish.add(FRAME, "contrast", at=3),
        lambda: finish.move(FRAME, "sharpness-1", 0),
        lambda: finish.remove(FRAME, "gone"),
        lambda: finish.adjust(FRAME, "sharpness-1", ["amount=99"]),
    ):
        with pytest.raises(UsageError):
            attempt()
    assert place.entries("recipe") == before


def test_the_finish_is_carried_with_the_items_that_are_off(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.finish.add(FRAME, "sharpness", ["amount=0.5"])
    recipes.finish.add(FRAME, "contrast", ["amount=0.1"])
    recipes.finish.switch(FRAME, "contrast-1", on=False)
    recipes.set(FRAME, ["exposure.stops=0.5"])
    assert recipes.carry(FRAME, SEQUENCE, leave=["finish"]).operators == ("exposure",)
    assert listed(place, f"{SEQUENCE}#4") == []
    assert recipes.carry(FRAME, SEQUENCE, only=["finish"]).operators == ("finish",)
    assert listed(place, f"{SEQUENCE}#4") == [("sharpness-1", True), ("contrast-1", False)]
