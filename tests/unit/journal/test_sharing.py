"""Shared versions changed for all of their frames or a part, and what the drafts come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from support.builders import entry, exposure, frame_id, recipe, selection, shared, step

from archive.errors import DamagedFileError
from archive.journal.current import Fold, versions
from archive.journal.ramps import value_at
from archive.journal.recipes import Standing, effective
from archive.journal.sharing import Share, revised, shared_draft
from archive.model.capture import Selection
from archive.model.entry import SELECTION, SHARED, Change, Draft, Entry, Version
from archive.model.recipe import Anchor, Ramp, Recipe

WHOLE = selection(1, 2, 3, 4)
RAMP = Ramp(
    parameter="exposure.stops",
    rule="monotone-cubic",
    scale="linear",
    rounding=0.0,
    anchors=(
        Anchor(frame=frame_id(1), value=0.5),
        Anchor(frame=frame_id(2), value=0.1),
        Anchor(frame=frame_id(4), value=-0.5),
    ),
)
RAMPED = recipe(step("exposure", stops=0.0), ramps=(RAMP,))


def select(frames: Sequence[str]) -> Selection:
    """The frames at times that are not those of ``WHOLE``: clocks were corrected since."""
    return Selection(frames=tuple(frames), milliseconds=tuple(7_000 * n for n in range(len(frames))))  # type: ignore[arg-type]


def standing(entries: Sequence[Entry], *numbers: int) -> dict[str, Standing]:
    fold = Fold(entries)
    known = {
        change.subjects[0]: Selection.from_json(change.value)
        for each in entries
        for change in each.about(SELECTION)
    }
    return {
        frame_id(n): Standing(
            frame=frame_id(n),
            own=(),
            shared=tuple(fold.current(frame_id(n), SHARED)),
            selections=known,
        )
        for n in numbers
    }


def told(*changes: Change, counter: int = 1) -> Entry:
    return entry(*changes, kind="recipe", counter=counter)


def drafted(shares: Sequence[Share]) -> Draft:
    draft = shared_draft(shares, line="main")
    assert draft is not None
    return draft


def applied(entries: Sequence[Entry], draft: Draft, *numbers: int) -> dict[str, Standing]:
    return standing([*entries, told(*draft.changes, counter=9)], *numbers)


def stops(each: Standing) -> float:
    (found,) = effective(each, in_sequence=True, foundation=RAMPED.foundation).base
    return float(found.values["stops"])


def to(new: Recipe) -> object:
    return lambda _before, _version: new


def brighter(before: Recipe | None, _version: Version | None) -> Recipe:
    assert before is not None
    return replace(before, base=(*before.base, step("chroma", amount=0.2)))


def test_frames_that_share_nothing_get_one_version_of_one_selection() -> None:
    shares = revised(standing([], 1, 2, 3), select, to(exposure(0.5)))  # type: ignore[arg-type]
    (share,) = shares
    assert share.selection.frames == (frame_id(1), frame_id(2), frame_id(3))
    draft = drafted(shares)
    assert [change.layer for change in draft.changes] == [SELECTION, SHARED]
    assert draft.changes[1].builds_on == ()


def test_what_all_frames_share_already_is_not_written_again() -> None:
    held = told(*shared(WHOLE, exposure(0.5)))
    assert revised(standing([held], 1, 2, 3, 4), select, to(exposure(0.5))) == []  # type: ignore[arg-type]
    assert revised(standing([held], 2), select, to(exposure(0.5))) == []  # type: ignore[arg-type]
    assert shared_draft([], line="main") is None


def test_only_the_frames_that_differ_are_written() -> None:
    held = told(*shared(selection(1, 2), exposure(0.5)))
    (share,) = revised(standing([held], 1, 2, 3), select, to(exposure(0.5)))  # type: ignore[arg-type]
    assert share.selection.frames == (frame_id(3),)


def test_groups_that_end_alike_become_one_selection_in_the_frames_order() -> None:
    held = [
        told(*shared(selection(1, 3), exposure(-1.0))),
        told(*shared(selection(2, 4), exposure(-2.0)), counter=2),
    ]
    (share,) = revised(standing(held, 1, 2, 3, 4), select, to(exposure(0.5)))  # type: ignore[arg-type]
    assert share.selection.frames == tuple(frame_id(n) for n in (1, 2, 3, 4))
    assert drafted([share]).changes[1].builds_on == tuple(sorted(each.id for each in held))
    after = applied(held, drafted([share]), 1, 2, 3, 4)
    assert [len(each.shared) for each in after.values()] == [1, 1, 1, 1]


def test_a_change_of_all_frames_keeps_their_very_selection_and_its_times() -> None:
    held = told(*shared(WHOLE, RAMPED))
    (share,) = revised(standing([held], 1, 2, 3, 4), select, brighter)
    assert share.selection == WHOLE
    assert share.recipe.ramps == (RAMP,)


def test_a_part_of_a_ramped_sequence_keeps_its_ramp_along_the_whole() -> None:
    held = told(*shared(WHOLE, RAMPED))
    before = [value_at(RAMP, WHOLE, frame_id(n)) for n in (1, 2, 3, 4)]
    (share,) = revised(standing([held], 3, 4), select, brighter)
    assert share.selection.frames == (frame_id(3), frame_id(4))
    assert share.recipe.ramps == (replace(RAMP, along=WHOLE.id),)
    draft = drafted([share])
    assert [change.subjects[0] for change in draft.changes] == [
        share.selection.id,
        WHOLE.id,
        share.selection.id,
    ]
    after = applied([held], draft, 1, 2, 3, 4)
    found = effective(after[frame_id(3)], in_sequence=True, foundation=RAMPED.foundation)
    assert [each.name for each in found.base] == ["chroma", "exposure"]
    values = [
        dict(effective(each, in_sequence=True, foundation=RAMPED.foundation).base[-1].values)["stops"]
        for each in after.values()
    ]
    assert values == before


def test_a_ramp_that_comes_back_to_its_own_selection_need_not_name_it() -> None:
    part = told(*shared(WHOLE, RAMPED))
    away = revised(standing([part], 3, 4), select, brighter)
    second = told(*drafted(away).changes, counter=2)
    shares = revised(standing([part, second], 1, 2, 3, 4), lambda _frames: WHOLE, to(
        replace(RAMPED, ramps=(replace(RAMP, along=WHOLE.id),))))  # type: ignore[arg-type]  # fmt: skip
    after = applied([part, second], drafted(shares), 1, 2, 3, 4)
    assert {stops(each) for each in after.values()} == {
        value_at(RAMP, WHOLE, frame_id(n)) for n in (1, 2, 3, 4)
    }


def test_a_contested_group_is_replaced_as_a_whole() -> None:
    rivals = [told(*shared(WHOLE, exposure(s)), counter=n) for n, s in ((1, 0.1), (2, 0.2))]
    (share,) = revised(standing(rivals, 1, 2, 3, 4), select, to(exposure(0.2)))  # type: ignore[arg-type]
    assert set(drafted([share]).changes[1].builds_on) == {each.id for each in rivals}
    after = applied(rivals, drafted([share]), 1)
    assert len(after[frame_id(1)].shared) == 1


@pytest.mark.parametrize("anchors", [(frame_id(9),), (frame_id(1), frame_id(9))])
def test_an_entry_whose_ramp_has_an_anchor_elsewhere_is_set_aside(anchors: tuple[str, ...]) -> None:
    odd = replace(RAMP, anchors=tuple(Anchor(frame=frame, value=0.5) for frame in anchors))
    bad = told(*shared(WHOLE, replace(RAMPED, ramps=(odd,))))
    with pytest.raises(DamagedFileError, match="a ramp cannot be read"):
        list(versions(bad))
