"""Differences between recipes as sentences."""

from __future__ import annotations

from dataclasses import replace

from support.builders import FOUNDATION, exposure, frame_id, recipe, step

from archive.journal.wording import changes_in_words
from archive.model.recipe import Anchor, FinishItem, OperatorValues, Ramp

SHARPEN = FinishItem(id="s1", on=True, step=step("sharpness", amount=0.5))
CONTRAST = FinishItem(id="c1", on=True, step=step("contrast", amount=0.1))
RAMP = Ramp(
    parameter="exposure.stops",
    rule="linear",
    scale="linear",
    rounding=0.01,
    anchors=(Anchor(frame=frame_id(1), value=0.5), Anchor(frame=frame_id(3), value=-0.5)),
)


def describe(old: OperatorValues | None, new: OperatorValues | None) -> list[str]:
    return [f"{old.values if old else None} -> {new.values if new else None}"]


def test_operators_are_told_one_by_one_and_those_alike_are_not() -> None:
    before = recipe(step("exposure", stops=1.0), step("chroma", amount=0.2))
    after = recipe(step("exposure", stops=2.0), step("chroma", amount=0.2))
    assert changes_in_words(before, after, describe) == ["{'stops': 1.0} -> {'stops': 2.0}"]
    assert changes_in_words(None, exposure(1.0), describe) == ["None -> {'stops': 1.0}"]
    assert changes_in_words(after, after, describe) == []


def test_items_of_the_finish_are_told_by_their_ids() -> None:
    before = recipe(finish=(SHARPEN, CONTRAST))
    stronger = replace(SHARPEN, step=step("sharpness", amount=0.9))
    assert changes_in_words(recipe(), before, describe) == [
        "finish s1: None -> {'amount': 0.5}",
        "finish c1: None -> {'amount': 0.1}",
    ]
    assert changes_in_words(before, recipe(finish=(stronger, CONTRAST)), describe) == [
        "finish s1: {'amount': 0.5} -> {'amount': 0.9}"
    ]
    off = recipe(finish=(SHARPEN, replace(CONTRAST, on=False)))
    assert changes_in_words(before, off, describe) == ["finish c1: switched off"]
    assert changes_in_words(off, before, describe) == ["finish c1: switched on"]
    assert changes_in_words(before, recipe(finish=(SHARPEN,)), describe) == ["finish c1: removed"]
    assert changes_in_words(before, recipe(finish=(CONTRAST, SHARPEN)), describe) == [
        "finish: now in the order c1, s1"
    ]
    assert changes_in_words(before, recipe(finish=()), describe) == ["finish: nothing"]
    assert changes_in_words(before, recipe(), describe) == ["finish: no longer said"]


def test_ramps_are_told_with_true_minus_signs() -> None:
    plain = exposure(0.5)
    ramped = replace(plain, ramps=(RAMP,))
    assert changes_in_words(plain, ramped, describe) == [
        "exposure.stops ramps over 2 anchors (0.5 · −0.5), linear"
    ]
    assert changes_in_words(ramped, plain, describe) == ["exposure.stops no longer ramps"]
    other = replace(RAMP, rule="monotone-cubic", anchors=RAMP.anchors[:1])
    assert changes_in_words(ramped, replace(plain, ramps=(other,)), describe) == [
        "exposure.stops: 2 anchors (0.5 · −0.5) → 1 anchor (0.5)",
        "exposure.stops: linear → monotone-cubic",
    ]


def test_the_value_stored_under_a_ramp_is_not_told_beside_the_ramp() -> None:
    ramped = replace(exposure(-0.5), ramps=(RAMP,))
    (ramps,) = changes_in_words(exposure(0.5), ramped, describe)
    assert changes_in_words(None, ramped, describe) == [ramps]
    assert ramps.startswith("exposure.stops ramps over")
    two = OperatorValues(name="balance", version=1, values={"kelvin": 3000.0, "tint": 0.1})
    on_kelvin = recipe(two, ramps=(replace(RAMP, parameter="balance.kelvin"),))

    def listed(old: OperatorValues | None, new: OperatorValues | None) -> list[str]:
        was, now = (each.values if each else {} for each in (old, new))
        return [f"balance.{name} {now[name]}" for name in now if was.get(name) != now[name]]

    assert changes_in_words(None, on_kelvin, listed)[0] == "balance.tint 0.1"
    before = recipe(replace(two, values={"kelvin": 5000.0, "tint": 0.2}))
    told = changes_in_words(before, on_kelvin, listed)
    assert told[0] == "balance.tint 0.1" and len(told) == 2
    ended = changes_in_words(ramped, exposure(0.25), describe)
    assert len(ended) == 2 and ended[1] == "exposure.stops no longer ramps"


def test_an_anchor_that_only_moved_is_told_as_moved() -> None:
    plain = exposure(0.5)
    moved = replace(RAMP, anchors=(RAMP.anchors[0], Anchor(frame=frame_id(4), value=-0.5)))
    before, after = replace(plain, ramps=(RAMP,)), replace(plain, ramps=(moved,))
    assert changes_in_words(before, after, describe) == [
        "exposure.stops: the anchor −0.5 moved to another frame"
    ]


def test_another_foundation_is_told() -> None:
    later = replace(exposure(0.5), foundation=replace(FOUNDATION, generation=2))
    assert changes_in_words(exposure(0.5), later, describe) == ["engine generation 1 → 2"]
