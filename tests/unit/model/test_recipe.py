"""Recipes as values: checked, compared by meaning, to JSON and back."""

from __future__ import annotations

import pytest
from support.builders import FOUNDATION, frame_id, recipe, step

from archive.model.recipe import Anchor, EffectiveRecipe, FinishItem, Foundation, OperatorValues, Ramp, Recipe

RAMP = Ramp(
    parameter="exposure.stops",
    rule="monotone-cubic",
    scale="linear",
    rounding=0.01,
    anchors=(Anchor(frame=frame_id(1), value=0.5), Anchor(frame=frame_id(2), value=-0.5)),
)
ITEM = FinishItem(id="s1", on=True, step=step("sharpness", amount=0.5))
FULL = recipe(step("exposure", stops=0.5), step("chroma", amount=0.1), finish=(ITEM,), ramps=(RAMP,))


def test_a_full_recipe_comes_back_from_json() -> None:
    assert Recipe.from_json(FULL.to_json()) == FULL


def test_each_part_of_a_recipe_comes_back_from_json() -> None:
    assert Ramp.from_json(RAMP.to_json()) == RAMP
    assert FinishItem.from_json(ITEM.to_json()) == ITEM
    assert Foundation.from_json(FOUNDATION.to_json()) == FOUNDATION
    assert OperatorValues.from_json(ITEM.step.to_json()) == ITEM.step


def test_the_order_in_which_operators_are_given_means_nothing() -> None:
    one = recipe(step("exposure", stops=0.5), step("chroma", amount=0.1))
    two = recipe(step("chroma", amount=0.1), step("exposure", stops=0.5))
    assert one == two
    assert hash(one) == hash(two)
    assert [each.name for each in one.base] == ["chroma", "exposure"]


def test_saying_nothing_about_the_finish_differs_from_no_finish() -> None:
    silent, none = recipe(finish=None), recipe(finish=())
    assert silent != none
    assert Recipe.from_json(silent.to_json()).finish is None
    assert Recipe.from_json(none.to_json()).finish == ()


def test_a_recipe_speaks_about_its_operators_and_its_finish() -> None:
    assert FULL.parts == ("chroma", "exposure", "finish")
    assert recipe(finish=()).parts == ("finish",)
    assert [each.says_nothing for each in (recipe(), recipe(finish=()), FULL)] == [True, False, False]


def test_an_operator_twice_in_the_base_is_refused() -> None:
    with pytest.raises(ValueError, match="each operator at most once"):
        recipe(step("exposure", stops=1.0), step("exposure", stops=2.0))


def test_an_operator_may_come_twice_in_the_finish_under_two_ids() -> None:
    again = FinishItem(id="s2", on=False, step=ITEM.step)
    assert recipe(finish=(ITEM, again)).finish == (ITEM, again)
    with pytest.raises(ValueError, match="each id at most once"):
        recipe(finish=(ITEM, ITEM))


def test_a_ramp_without_anchors_is_refused() -> None:
    with pytest.raises(ValueError, match=r"exposure\.stops has no anchors"):
        Ramp(parameter="exposure.stops", rule="linear", scale="linear", rounding=0, anchors=())


def test_a_reciprocal_ramp_through_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="anchor at 0"):
        Ramp(
            parameter="balance.kelvin",
            rule="linear",
            scale="reciprocal",
            rounding=0,
            anchors=(Anchor(frame=frame_id(1), value=0),),
        )


@pytest.mark.parametrize("base", [(), (step("chroma", amount=0.1),), (step("exposure", gain=1.0),)])
def test_a_ramp_of_what_the_base_does_not_hold_is_refused(base: tuple[OperatorValues, ...]) -> None:
    with pytest.raises(ValueError, match=r"exposure\.stops changes nothing"):
        recipe(*base, ramps=(RAMP,))


def test_an_operator_is_found_by_its_name() -> None:
    assert FULL.operator("exposure") == step("exposure", stops=0.5)
    assert FULL.operator("framing") is None


def test_where_an_effective_recipe_came_from_is_no_part_of_what_it_is() -> None:
    parts = {"foundation": FOUNDATION, "base": (step("exposure", stops=0.5),), "finish": (ITEM.step,)}
    one = EffectiveRecipe(**parts, origins={"exposure": "sha256:1"})
    two = EffectiveRecipe(**parts, origins={"exposure": "sha256:2"})
    assert one == two
    assert one.to_json() == two.to_json()
    assert EffectiveRecipe.from_json(one.to_json()) == one


def test_values_that_are_equal_hash_the_same() -> None:
    assert hash(step("exposure", stops=1)) == hash(step("exposure", stops=1.0))
    assert step("exposure", stops=1) == step("exposure", stops=1.0)
