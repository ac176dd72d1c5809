"""Standing versions, selections and derivatives as the catalogue answers them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import event
from support.builders import (
    FOUNDATION,
    delivered,
    entry,
    entry_id,
    exposure,
    frame_id,
    memory_catalogue,
    own,
    recipe,
    selection,
    shared,
    step,
)

from archive.catalogue.index import Catalogue
from archive.catalogue.lineage import (
    bare_standings,
    derivatives,
    effectives,
    selection_of,
    standings,
    versions_of,
)
from archive.journal.recipes import effective
from archive.model.entry import SHARED, Change
from archive.model.identity import canonical, sha256_id
from archive.model.product import PixelSpec, Spec
from archive.model.recipe import Anchor, Ramp

SPEC = Spec(
    name="still-web", product="still", container="jpeg", pixels=PixelSpec(fit=None), encoder={"quality": 90}
)
RAMP = Ramp(
    parameter="exposure.stops",
    rule="linear",
    scale="linear",
    rounding=0.01,
    anchors=(Anchor(frame=frame_id(1), value=0.5), Anchor(frame=frame_id(3), value=-0.5)),
)


def test_versions_are_told_oldest_first_with_all_that_was_saved() -> None:
    catalogue = memory_catalogue()
    first = entry(own(1, exposure(0.5), note="first"), kind="recipe")
    second = entry(own(1, exposure(1.0), builds_on=(first.id,), in_sequence=True), kind="recipe", counter=2)
    common = entry(*shared(selection(1, 2), exposure(2.0)), kind="recipe", counter=3)
    catalogue.apply([common, second, first])
    found = versions_of(catalogue, [frame_id(1), frame_id(2), frame_id(9)])
    assert [each.entry for each in found[frame_id(1)]] == [first.id, second.id, common.id]
    assert (found[frame_id(1)][0].note, found[frame_id(1)][1].in_sequence) == ("first", True)
    assert found[frame_id(1)][1].builds_on == (first.id,)
    assert [(each.layer, each.selection) for each in found[frame_id(2)]] == [(SHARED, selection(1, 2).id)]
    assert found[frame_id(9)] == []


def test_a_ramp_is_evaluated_from_what_the_catalogue_remembers() -> None:
    catalogue = memory_catalogue()
    ramped = recipe(step("exposure", stops=0.0), ramps=(RAMP,))
    catalogue.apply([entry(*shared(selection(1, 2, 3), ramped), kind="recipe")])
    found = standings(catalogue, [frame_id(number) for number in (1, 2, 3)])
    stops = [
        effective(found[frame_id(number)], in_sequence=True, foundation=FOUNDATION).base[0].values["stops"]
        for number in (1, 2, 3)
    ]
    assert stops == [0.5, 0.0, -0.5]


def test_a_listing_learns_what_is_contested_without_reading_runs() -> None:
    catalogue = memory_catalogue()
    catalogue.apply(
        [
            entry(*shared(selection(1, 2), exposure(1.0)), kind="recipe"),
            entry(*shared(selection(2, 3), exposure(2.0)), kind="recipe", counter=2),
        ]
    )
    asked: list[str] = []
    event.listen(catalogue.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    bare = bare_standings(catalogue, [frame_id(1), frame_id(2)])
    assert not any("selection_frame" in each for each in asked)
    whole = standings(catalogue, [frame_id(1), frame_id(2)])
    assert [bare[each].contested for each in (frame_id(1), frame_id(2))] == [False, True]
    assert {frame: replace(each, selections={}) for frame, each in whole.items()} == bare
    assert set(whole[frame_id(2)].selections) == {selection(1, 2).id, selection(2, 3).id}


def test_a_line_is_asked_for_apart() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(own(1, exposure(0.5), line="print"), kind="recipe")])
    assert versions_of(catalogue, [frame_id(1)])[frame_id(1)] == []
    assert len(standings(catalogue, [frame_id(1)], line="print")[frame_id(1)].own) == 1


def test_more_frames_than_one_question_can_hold_are_answered() -> None:
    catalogue = memory_catalogue()
    many = selection(*range(1, 1001))
    catalogue.apply([entry(*shared(many, exposure(0.5)), kind="recipe")])
    found = standings(catalogue, list(many.frames))
    assert all(len(each.shared) == 1 for each in found.values())
    assert len(found) == 1000
    assert selection_of(catalogue, many.id) == many


def test_a_selection_that_no_entry_lists_is_an_error() -> None:
    with pytest.raises(ValueError, match="at least one frame"):
        selection_of(memory_catalogue(), "selection:sha256:0")


def made(**changed: Any) -> Catalogue:
    catalogue = memory_catalogue()
    value = delivered(spec=SPEC.to_json(), counter_free=changed)
    catalogue.apply([entry(Change(subjects=("job:1",), layer="delivered", line="a", value=value))])
    return catalogue


def test_a_derivative_comes_back_with_its_whole_lineage() -> None:
    catalogue = made()
    (found,) = derivatives(catalogue)
    assert (found.job, found.path, found.size, found.spec) == ("1", "exports/a.jpg", 17, SPEC)
    (origin,) = found.origins
    assert (origin.frame, origin.versions, origin.pixel_key) == (frame_id(1), (entry_id(3),), entry_id(902))
    (document,) = effectives(catalogue, [origin.effective]).values()
    assert document.base == (step("exposure", stops=0.5),)
    assert sha256_id(canonical(document.to_json())) == origin.effective


@pytest.mark.parametrize(
    "by",
    [
        {"digest": frame_id(900)},
        {"frame": frame_id(1)},
        {"instance_id": "xmp.iid:1"},
        {"document_id": "xmp.did:1"},
        {"file_key": entry_id(901)},
        {"path": "exports/a.jpg"},
    ],
    ids=lambda by: next(iter(by)),
)
def test_a_derivative_is_found_by_any_of_its_ids_and_not_by_another(by: dict[str, str]) -> None:
    catalogue = made()
    assert len(derivatives(catalogue, **by)) == 1
    assert derivatives(catalogue, **dict.fromkeys(by, "else")) == []


def test_a_derivative_of_one_frame_many_times_is_found_once() -> None:
    one = delivered(spec=SPEC.to_json())["outputs"][0]["inputs"][0]
    catalogue = made(inputs=[one, one, one])
    (found,) = derivatives(catalogue, frame=frame_id(1))
    assert len(found.origins) == 3
