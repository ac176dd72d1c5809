"""Levelling in sets and movies, and never in stills."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.builders import entry_id, recipe, step
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.resolve import find
from archive.engine import operator
from archive.engine.foundation import current_foundation
from archive.errors import UsageError
from archive.exports.levelling import levelled
from archive.exports.plan import Plan, make_plan
from archive.exports.specs import spec_named
from archive.model.identity import EntryId
from archive.model.recipe import EffectiveRecipe
from archive.model.survey import Level


def developed(*base: object) -> EffectiveRecipe:
    return EffectiveRecipe(foundation=recipe().foundation, base=tuple(base))  # type: ignore[arg-type]


def stops(found: EffectiveRecipe) -> object:
    return next((each.values["stops"] for each in found.base if each.name == "exposure"), None)


def test_stops_are_added_to_the_exposure_that_is_there_or_to_none() -> None:
    level = Level(stops=-0.25, entry=entry_id(1))
    there = developed(operator.checked("exposure", {"stops": 0.5}))
    assert stops(levelled(there, level)) == 0.25
    assert stops(levelled(developed(), level)) == -0.25
    assert levelled(developed(), level).origins["levelling"] == entry_id(1)
    for nothing in (None, Level(stops=0.0, entry=entry_id(1))):
        assert levelled(there, nothing) is there


def test_the_operators_range_is_kept_and_its_order() -> None:
    far = developed(
        operator.checked("chroma", {"amount": 0.1}),
        operator.checked("exposure", {"stops": 7.9}),
        operator.checked("shadow_lift", {"stops": 0.5}),
    )
    found = levelled(far, Level(stops=3.0, entry=entry_id(1)))
    assert stops(found) == 8
    assert [each.name for each in found.base] == ["chroma", "exposure", "shadow_lift"]
    assert step("exposure", stops=8).values == {"stops": 8}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("levelling"))
    made.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    yield made
    made.workspace.close()


def planned(place: Studio, spec: str) -> Plan:
    found = find(place.workspace.books.catalogue, SEQUENCE)
    return make_plan(
        place.workspace.books, found.frames, found.sequence, spec_named(spec), current_foundation()
    )


FLICKER = (0.11, -0.08, 0.05, 0.0, -0.12, 0.04)


def level(place: Studio) -> EntryId | None:
    """Level the six frames by stops of our own: the night itself hardly flickers."""
    frames, found = place.workspace.survey.levels(SEQUENCE)
    return place.workspace.levelling.state(frames, FLICKER, region=None, cells=found.cells)


def test_a_levelled_sequence_is_another_movie_and_the_same_stills(place: Studio) -> None:
    workspace = place.workspace
    before = {spec: planned(place, spec) for spec in ("still-web", "movie-hd")}
    assert workspace.level(SEQUENCE, dry_run=True).entry is None
    entry = level(place)
    assert entry is not None
    after = {spec: planned(place, spec) for spec in ("still-web", "movie-hd")}
    assert after["still-web"].key == before["still-web"].key
    assert after["movie-hd"].key != before["movie-hd"].key
    inputs = after["movie-hd"].files[0].inputs
    frames, _ = workspace.survey.levels(SEQUENCE)
    assert [stops(item.effective) or 0.0 for item in inputs] == list(FLICKER)
    assert all(entry in item.versions for item in inputs if stops(item.effective))
    assert [frame.id for frame in frames] == [item.frame.id for item in inputs]
    # The same again is not stated again; a rebuild changes nothing.
    assert level(place) is None
    assert place.entries("levelling") == 1
    workspace.books.rebuild()
    assert planned(place, "movie-hd").key == after["movie-hd"].key
    workspace.levelling.drop(SEQUENCE)
    assert planned(place, "movie-hd").key == before["movie-hd"].key
    with pytest.raises(UsageError, match="levelled"):
        workspace.levelling.drop(SEQUENCE)


def test_a_movie_made_before_levelling_is_stale_after_it(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    place.export(SEQUENCE, "movie-hd")
    place.export(f"{SEQUENCE}#1", "still-web")
    assert place.workspace.exports.stale() == []
    level(place)
    (line,) = place.workspace.exports.stale()
    assert line.state == "stale"
    assert line.path.endswith(".mp4")
    place.workspace.close()


def test_what_is_not_surveyed_throughout_is_not_levelled(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.survey.run(f"{SEQUENCE}#1..4", progress=lambda _stage, _done, _total: None)
    with pytest.raises(UsageError, match="4 of 6 frames"):
        place.workspace.level(SEQUENCE)
    place.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    with pytest.raises(UsageError, match="at least 5"):
        place.workspace.level(f"{SEQUENCE}#1..3")
    place.workspace.close()
