"""Contested recipes, kept up to date in whatever order entries come."""

from __future__ import annotations

import pytest
from support.builders import (
    camera,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    selection,
    sequence_roll,
    shared,
    site,
)

from archive.catalogue import contests
from archive.catalogue.affected import Affected
from archive.catalogue.contests import settle_contests
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.lineage import contested_frames
from archive.model.entry import PAIRING, Change, Entry

NIGHT = entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest", counter=1)
FIRST = entry(own(1, exposure(0.1)), kind="recipe", counter=2)
ANN = entry(own(1, exposure(0.2), builds_on=[FIRST.id]), kind="recipe", counter=3)
BO = entry(own(1, exposure(0.3), builds_on=[FIRST.id]), kind="recipe", counter=3)
SHARES = entry(*shared(selection(1, 2, 3), exposure(0.4)), kind="recipe", counter=4)
OTHERS = entry(*shared(selection(3, 4), exposure(0.5)), kind="recipe", counter=4)
SETTLED = entry(own(1, exposure(0.6), builds_on=[ANN.id, BO.id]), kind="recipe", counter=5)


def held(*entries: Entry) -> Catalogue:
    catalogue = memory_catalogue()
    for each in entries:
        catalogue.apply([each])
    return catalogue


def rows(catalogue: Catalogue) -> list[tuple[object, ...]]:
    return catalogue.dump()["contest"]


def test_a_contest_is_known_in_every_order_and_over_when_it_is_settled() -> None:
    contest = [(frame_id(1), "recipe", "main")]
    for order in ((FIRST, ANN, BO), (BO, FIRST, ANN), (ANN, BO, FIRST)):
        catalogue = held(NIGHT, *order)
        assert rows(catalogue) == contest
        catalogue.apply([SETTLED])
        assert rows(catalogue) == []
    early = held(SETTLED, FIRST, ANN)
    assert rows(early) == []
    early.apply([BO, NIGHT])
    assert rows(early) == []


def test_shared_versions_contest_only_the_frames_that_both_reach() -> None:
    catalogue = held(NIGHT, SHARES, OTHERS, FIRST)
    assert rows(catalogue) == [(frame_id(3), "recipe-shared", "main")]
    assert [frame.id for frame in contested_frames(catalogue)] == [frame_id(3)]
    assert contested_frames(held(SHARES, OTHERS)) == []


def test_a_companions_versions_contest_its_frames_from_the_pairing_on() -> None:
    beside = entry(own(2, exposure(0.7)), kind="recipe", counter=6)
    value = {"frame": frame_id(1)}
    pairing = entry(Change(subjects=(frame_id(2),), layer=PAIRING, value=value), kind="pairing", counter=7)
    parted = entry(Change(subjects=(frame_id(2),), layer=PAIRING, value=None), kind="pairing", counter=8)
    contest = [(frame_id(1), "recipe", "main")]
    for order in (
        (NIGHT, FIRST, beside, pairing),
        (pairing, beside, NIGHT, FIRST),
        (beside, pairing, FIRST, NIGHT),
    ):
        catalogue = held(*order)
        assert rows(catalogue) == contest
        assert [frame.id for frame in contested_frames(catalogue)] == [frame_id(1)]
        catalogue.apply([parted])
        assert rows(catalogue) == []


def test_many_frames_at_once_are_told_as_few_are(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = [NIGHT, FIRST, ANN, BO, SHARES, OTHERS]
    few = rows(held(*entries))
    monkeypatch.setattr(contests, "_MANY", 1)
    many = memory_catalogue()
    many.apply(entries)
    assert rows(many) == few
    many.apply([SETTLED])
    with transaction(many.engine) as session:
        settle_contests(session, Affected(developed={frame_id(n) for n in range(1, 5)}))
    assert rows(many) == [(frame_id(3), "recipe-shared", "main")]
