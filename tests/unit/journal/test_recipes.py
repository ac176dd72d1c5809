"""Intents turned to drafts, and versions turned to what a frame is developed with."""

from __future__ import annotations

from dataclasses import replace

from support.builders import (
    FOUNDATION,
    entry,
    entry_id,
    exposure,
    frame_id,
    own,
    recipe,
    selection,
    step,
)

from archive.journal.current import Fold
from archive.journal.recipes import (
    Standing,
    effective,
    masks,
    narrowed,
    parts_changed,
    save,
    speaking_versions,
    version_value,
    with_values,
)
from archive.model.entry import OWN, SHARED, Version
from archive.model.recipe import Anchor, FinishItem, OperatorValues, Ramp, Recipe

SHARPEN = FinishItem(id="s1", on=True, step=step("sharpness", amount=0.5))
CROP = FinishItem(id="c1", on=True, step=step("framing", crop=0.1))
CHOSEN = selection(1, 2, 3)


def version(
    number: int,
    developed: Recipe,
    *,
    layer: str = OWN,
    in_sequence: bool = False,
    selected: str | None = None,
    counter: int = 1,
) -> Version:
    return Version(
        entry=entry_id(number),
        counter=counter,
        time="2026-03-19T06:15:02Z",
        person="Ingrid",
        frame=frame_id(1),
        layer=layer,
        line="main",
        recipe=developed,
        in_sequence=in_sequence,
        selection=selected,
    )


def standing(own: tuple[Version, ...] = (), shared: tuple[Version, ...] = ()) -> Standing:
    return Standing(frame=frame_id(1), own=own, shared=shared, selections={CHOSEN.id: CHOSEN})


def steps(of: Standing, *, in_sequence: bool = False) -> dict[str, OperatorValues]:
    return {each.name: each for each in effective(of, in_sequence=in_sequence, foundation=FOUNDATION).base}


OWNED = version(1, recipe(step("exposure", stops=1.0), step("chroma", amount=0.2)))
SHARE = version(
    2,
    recipe(step("exposure", stops=-1.0), step("contrast", amount=0.3), finish=(SHARPEN,)),
    layer=SHARED,
    selected=CHOSEN.id,
)


def test_a_frame_that_nothing_speaks_for_is_developed_plainly() -> None:
    plain = effective(standing(), in_sequence=False, foundation=FOUNDATION)
    assert (plain.base, plain.finish, plain.foundation) == ((), (), FOUNDATION)


def test_per_operator_the_own_version_outweighs_the_shared_one() -> None:
    found = steps(standing((OWNED,), (SHARE,)))
    assert found == {
        "exposure": step("exposure", stops=1.0),
        "chroma": step("chroma", amount=0.2),
        "contrast": step("contrast", amount=0.3),
    }


def test_each_part_tells_which_version_it_came_from() -> None:
    found = effective(standing((OWNED,), (SHARE,)), in_sequence=False, foundation=FOUNDATION)
    assert found.origins == {
        "exposure": OWNED.entry,
        "chroma": OWNED.entry,
        "contrast": SHARE.entry,
        "finish": SHARE.entry,
    }


def test_in_a_sequence_an_own_version_counts_only_if_it_was_saved_for_it() -> None:
    assert steps(standing((OWNED,), (SHARE,)), in_sequence=True)["exposure"] == step("exposure", stops=-1.0)
    allowed = replace(OWNED, in_sequence=True)
    assert steps(standing((allowed,), (SHARE,)), in_sequence=True)["exposure"] == step("exposure", stops=1.0)


def test_the_finish_is_taken_whole_from_the_own_version_if_that_says_anything_about_it() -> None:
    own_finish = version(1, recipe(finish=(CROP,)))
    found = effective(standing((own_finish,), (SHARE,)), in_sequence=False, foundation=FOUNDATION)
    assert found.finish == (CROP.step,)


def test_an_empty_own_finish_takes_the_shared_one_away() -> None:
    found = effective(
        standing((version(1, recipe(finish=())),), (SHARE,)), in_sequence=False, foundation=FOUNDATION
    )
    assert found.finish == ()


def test_steps_of_the_finish_that_are_off_are_left_out_and_the_order_is_kept() -> None:
    off = replace(SHARPEN, id="s2", on=False)
    again = replace(SHARPEN, id="s3")
    found = effective(
        standing((version(1, recipe(finish=(CROP, off, again, SHARPEN))),)),
        in_sequence=False,
        foundation=FOUNDATION,
    )
    assert found.finish == (CROP.step, SHARPEN.step, SHARPEN.step)


def test_the_foundation_is_the_own_versions_else_the_shared_ones() -> None:
    later = replace(FOUNDATION, generation=2)
    old_own = version(1, recipe(step("exposure", stops=1.0)))
    new_shared = version(2, replace(exposure(2.0), foundation=later), layer=SHARED, selected=CHOSEN.id)
    both = effective(standing((old_own,), (new_shared,)), in_sequence=False, foundation=later)
    assert both.foundation == FOUNDATION
    assert (
        effective(standing((), (new_shared,)), in_sequence=False, foundation=FOUNDATION).foundation == later
    )


def test_a_ramp_of_the_shared_version_is_evaluated_at_the_frame() -> None:
    ramp = Ramp(
        parameter="exposure.stops",
        rule="linear",
        scale="linear",
        rounding=0.01,
        anchors=(Anchor(frame=frame_id(1), value=0.5), Anchor(frame=frame_id(3), value=-0.5)),
    )
    ramped = version(
        2, recipe(step("exposure", stops=9.0, keep=1), ramps=(ramp,)), layer=SHARED, selected=CHOSEN.id
    )
    values = [
        steps(standing((), (replace(ramped, frame=frame_id(number)),)))["exposure"].values
        for number in (1, 2, 3)
    ]
    assert values == [{"stops": stops, "keep": 1} for stops in (0.5, 0.0, -0.5)]


def test_a_contested_recipe_is_developed_by_its_newest_version() -> None:
    newer = version(5, exposure(3.0), counter=9)
    contested = standing((newer, OWNED))
    assert contested.contested
    assert not standing((OWNED,), (SHARE,)).contested
    assert standing((), (SHARE, SHARE)).contested
    assert set(steps(contested)) == {"exposure"}


def test_a_version_for_stills_only_neither_speaks_nor_contests_in_movies() -> None:
    still_only = version(5, exposure(3.0), counter=9)
    for_movies = replace(OWNED, in_sequence=True)
    both = standing((still_only, for_movies))
    assert (both.contested_for(in_sequence=False), both.contested_for(in_sequence=True)) == (True, False)
    assert speaking_versions(both, in_sequence=False) == (still_only.entry,)
    assert speaking_versions(both, in_sequence=True) == (for_movies.entry,)
    rivals = standing((replace(still_only, in_sequence=True), for_movies))
    assert rivals.contested_for(in_sequence=True)
    stills = standing((still_only, OWNED))
    assert not stills.contested_for(in_sequence=True)
    assert stills.own_for(in_sequence=True) == ()
    assert standing((), (SHARE, SHARE)).contested_for(in_sequence=True)


def test_an_own_version_that_says_nothing_gives_neither_foundation_nor_record() -> None:
    older = replace(FOUNDATION, generation=7)
    emptied = version(5, Recipe(foundation=older))
    shared = replace(SHARE, recipe=replace(SHARE.recipe, foundation=replace(FOUNDATION, generation=8)))
    found = effective(standing((emptied,), (shared,)), in_sequence=False, foundation=FOUNDATION)
    assert found.foundation.generation == 8
    alone = effective(standing((emptied,)), in_sequence=False, foundation=FOUNDATION)
    assert (alone.foundation, alone.base) == (FOUNDATION, ())
    assert speaking_versions(standing((emptied,), (shared,)), in_sequence=False) == (shared.entry,)
    # No finish is something said.
    bare = version(5, Recipe(foundation=older, finish=()))
    assert effective(standing((bare,)), in_sequence=False, foundation=FOUNDATION).foundation == older


def test_the_record_names_exactly_the_versions_that_spoke() -> None:
    both = standing((OWNED,), (SHARE,))
    assert speaking_versions(both, in_sequence=False) == (OWNED.entry, SHARE.entry)
    assert speaking_versions(both, in_sequence=True) == (SHARE.entry,)
    assert speaking_versions(standing(), in_sequence=False) == ()


def test_saving_builds_on_every_current_version_and_settles_a_contest() -> None:
    draft = save(standing((OWNED, version(5, exposure(3.0)))), exposure(2.0), in_sequence=True, note="both")
    assert draft is not None
    (change,) = draft.changes
    assert change.builds_on == tuple(sorted([OWNED.entry, entry_id(5)]))
    assert change.subjects == (frame_id(1),)
    assert change.value == {"recipe": exposure(2.0).to_json(), "in_sequence": True, "note": "both"}


def test_saving_what_stands_already_writes_nothing() -> None:
    assert save(standing((OWNED,)), OWNED.recipe, in_sequence=False, note="again") is None


def test_saving_the_same_for_sequences_or_out_of_a_contest_is_a_change() -> None:
    assert save(standing((OWNED,)), OWNED.recipe, in_sequence=True) is not None
    assert save(standing((OWNED, SHARE)), OWNED.recipe, in_sequence=False) is not None
    assert save(standing(), recipe(), in_sequence=False) is not None


def test_only_and_except_choose_the_operators_that_are_carried() -> None:
    base = (step("chroma"), step("exposure"), step("framing"))
    assert [s.name for s in narrowed(base, only=("exposure", "chroma"))] == ["chroma", "exposure"]
    assert [s.name for s in narrowed(base, leave=("framing",))] == ["chroma", "exposure"]
    assert narrowed(base) == base
    assert narrowed(base, only=("exposure",), leave=("exposure",)) == ()


def test_only_own_values_for_sequences_mask_a_shared_recipe() -> None:
    given = recipe(step("exposure", stops=0.5), step("contrast", amount=0.1))
    assert masks(standing((OWNED,)), given.parts, in_sequence=True) == []
    assert masks(standing((replace(OWNED, in_sequence=True),)), given.parts, in_sequence=True) == ["exposure"]
    assert masks(standing(), given.parts, in_sequence=True) == []
    finished = replace(OWNED, in_sequence=True, recipe=recipe(finish=(CROP,)))
    both = replace(given, finish=(SHARPEN,)).parts
    assert masks(standing((finished,)), both, in_sequence=True) == ["finish"]
    assert masks(standing((finished,)), given.parts, in_sequence=True) == []


def test_in_stills_every_own_value_masks_a_shared_recipe() -> None:
    assert masks(standing((OWNED,)), ("contrast", "exposure"), in_sequence=False) == ["exposure"]
    newest = version(5, recipe(step("contrast", amount=0.1)), counter=9)
    assert masks(standing((newest, OWNED)), ("contrast", "exposure"), in_sequence=False) == ["contrast"]


def test_what_is_said_anew_is_told_part_by_part_ramps_and_finish_with_it() -> None:
    before = recipe(step("exposure", stops=0.5), step("contrast", amount=0.1))
    assert parts_changed(None, before) == ["contrast", "exposure"]
    assert parts_changed(before, before) == []
    assert parts_changed(before, recipe(step("exposure", stops=1.0))) == ["exposure"]
    assert parts_changed(before, replace(before, finish=())) == ["finish"]
    anchors = (Anchor(frame=frame_id(1), value=0.5),)
    ramp = Ramp(parameter="exposure.stops", rule="linear", scale="linear", rounding=0.01, anchors=anchors)
    assert parts_changed(before, replace(before, ramps=(ramp,))) == ["exposure"]


def test_a_version_on_another_line_builds_on_that_line_only() -> None:
    beneath = standing((OWNED,))
    draft = save(replace(beneath, line="print"), exposure(2.0), in_sequence=False)
    assert draft is not None
    assert (draft.changes[0].line, draft.changes[0].builds_on) == ("print", ())
    there = replace(OWNED, line="print")
    again = save(replace(standing((there,)), line="print"), exposure(2.0), in_sequence=False)
    assert again is not None
    assert again.changes[0].builds_on == (there.entry,)


def test_a_version_says_from_which_frame_it_was_carried_only_if_it_was() -> None:
    assert "carried_from" not in version_value(exposure(1.0), True, "")
    assert version_value(exposure(1.0), True, "", frame_id(3))["carried_from"] == frame_id(3)


def test_operators_are_set_and_taken_out_and_the_rest_is_kept() -> None:
    before = recipe(step("exposure", stops=1.0), step("chroma", amount=0.2), finish=(SHARPEN,))
    after = with_values(before, [step("exposure", stops=2.0), step("contrast", amount=0.1)], drop=("chroma",))
    assert [each.name for each in after.base] == ["contrast", "exposure"]
    assert after.operator("exposure") == step("exposure", stops=2.0)
    assert after.finish == (SHARPEN,)


def test_an_operator_that_is_taken_out_takes_its_ramp_along() -> None:
    ramp = Ramp(
        parameter="exposure.stops",
        rule="linear",
        scale="linear",
        rounding=0,
        anchors=(Anchor(frame=frame_id(1), value=0.5),),
    )
    before = recipe(step("exposure", stops=1.0), step("chroma", amount=0.2), ramps=(ramp,))
    assert with_values(before, [], drop=("exposure",)).ramps == ()
    assert with_values(before, [], drop=("chroma",)).ramps == (ramp,)


def test_an_own_draft_is_read_back_as_the_version_it_was() -> None:
    draft = save(standing(), exposure(0.5), in_sequence=True, note="n")
    assert draft is not None
    told = entry(*draft.changes, kind=draft.kind)
    (found,) = Fold([told]).current(frame_id(1))
    assert (found.recipe, found.in_sequence, found.note) == (exposure(0.5), True, "n")
    assert draft.changes[0] == own(1, exposure(0.5), in_sequence=True, note="n")
