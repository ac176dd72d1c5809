"""Where the parts of an effective recipe come from."""

from __future__ import annotations

from dataclasses import replace

from support.builders import entry_id, exposure, frame_id, recipe, selection, step

from archive.journal.recipes import Standing
from archive.journal.sources import sources
from archive.model.entry import OWN, SHARED, Version
from archive.model.recipe import Anchor, FinishItem, Ramp, Recipe

CHOSEN = selection(1, 2, 3)
RAMP = Ramp(
    parameter="exposure.stops",
    rule="linear",
    scale="linear",
    rounding=0.0,
    anchors=(Anchor(frame=frame_id(1), value=0.5), Anchor(frame=frame_id(2), value=-0.5)),
)


def version(number: int, said: Recipe, layer: str, *, in_sequence: bool = False) -> Version:
    return Version(
        entry=entry_id(number),
        counter=number,
        time="2026-03-19T06:15:02Z",
        person="Ingrid",
        frame=frame_id(1),
        layer=layer,
        line="main",
        recipe=said,
        in_sequence=in_sequence,
        selection=CHOSEN.id if layer == SHARED else None,
    )


SHARE = version(
    1,
    recipe(
        step("exposure", stops=0.5),
        step("chroma", amount=0.1),
        finish=(FinishItem(id="s1", on=True, step=step("sharpness", amount=0.5)),),
        ramps=(RAMP,),
    ),
    SHARED,
)
MINE = version(2, exposure(1.0), OWN)


def standing(frame: int, *own: Version) -> Standing:
    share = replace(SHARE, frame=frame_id(frame))
    return Standing(frame=frame_id(frame), own=own, shared=(share,), selections={CHOSEN.id: CHOSEN})


def test_the_own_version_is_named_before_the_shared_one_and_the_finish_last() -> None:
    found = {each.part: each.version for each in sources(standing(1, MINE), in_sequence=False)}
    assert list(found) == ["chroma", "exposure", "finish"]
    assert found == {"chroma": SHARE, "exposure": MINE, "finish": SHARE}


def test_a_still_has_no_part_in_a_sequence_unless_it_was_saved_for_it() -> None:
    found = {each.part: each.version for each in sources(standing(1, MINE), in_sequence=True)}
    assert found["exposure"] == SHARE


def test_ramps_tell_the_anchors_around_the_frame() -> None:
    def anchors(frame: int) -> tuple[Anchor | None, Anchor | None]:
        (ramp,) = next(
            each.ramps for each in sources(standing(frame), in_sequence=True) if each.part == "exposure"
        )
        return ramp.before, ramp.after

    assert anchors(1) == RAMP.anchors
    assert anchors(2) == (RAMP.anchors[1], None)
    assert anchors(3) == (RAMP.anchors[1], None)


def test_nothing_speaks_for_a_frame_without_versions() -> None:
    assert sources(Standing(frame=frame_id(1), own=(), shared=(), selections={}), in_sequence=False) == []
