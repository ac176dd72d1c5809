"""Which frames one ramp is of, and what it runs along in each."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.rampspan import all_with, span_of
from archive.errors import UsageError
from archive.model.capture import Frame

STOPS = "exposure.stops"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("rampspan"))
    made.workspace.recipes.ramps.add(f"{SEQUENCE}#1..3", STOPS, ["#1=0", "#3=0.6"])
    made.workspace.recipes.ramps.extend(f"{SEQUENCE}#1..5")
    yield made
    made.workspace.close()


def frames(place: Studio, first: int, last: int) -> list[Frame]:
    return [line.frame for line in place.workspace.frames(SEQUENCE)][first - 1 : last]


def test_a_ramp_spans_all_its_selections_the_widest_first(place: Studio) -> None:
    for first, last in ((1, 2), (1, 5), (5, 5)):
        span = span_of(place.workspace.recipes.bench, frames(place, first, last), STOPS, SEQUENCE)
        assert [len(each.frames) for each in span.along] == [5, 3]
        assert [frame.id for frame in span.members] == [frame.id for frame in frames(place, 1, 5)]
        assert span.ramp is not None and span.ramp.along is None


def test_where_nothing_ramps_the_frames_named_are_the_span(place: Studio) -> None:
    bench, named = place.workspace.recipes.bench, frames(place, 2, 4)
    span = span_of(bench, named, "contrast.amount", SEQUENCE)
    assert (span.ramp, list(span.members)) == (None, named)
    assert [len(each.frames) for each in span.along] == [3]
    assert all_with(bench, named, "contrast.amount") == ()


def test_a_ramp_keeps_running_along_its_own_selection_while_that_holds_its_anchors(place: Studio) -> None:
    bench = place.workspace.recipes.bench
    span = span_of(bench, frames(place, 1, 5), STOPS, SEQUENCE)
    assert span.ramp is not None
    wide, narrow = span.along
    standing = bench.standings(frames(place, 1, 1))
    (version,) = next(iter(standing.values())).shared
    held = version.recipe.ramp(STOPS)
    assert span.carrying(span.ramp, held, version) == narrow
    assert span.carrying(span.ramp, None, None) == wide


def test_ramps_that_only_overlap_are_not_one(place: Studio) -> None:
    place.workspace.recipes.ramps.add(f"{SEQUENCE}#6", STOPS, ["#6=1"])
    bench = place.workspace.recipes.bench
    with pytest.raises(UsageError, match="different ramps of"):
        span_of(bench, frames(place, 1, 6), STOPS, SEQUENCE)
    assert len(all_with(bench, frames(place, 1, 6), STOPS)) == 6
