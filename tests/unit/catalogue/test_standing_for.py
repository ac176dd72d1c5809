"""Which digest stands for which frame."""

from __future__ import annotations

import itertools

import pytest
from support.builders import (
    camera,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    roll,
    roll_file,
    selection,
    shared,
)

from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.lineage import standings, versions_of
from archive.catalogue.standing_for import all_pairs, companions_of, stand_for
from archive.model.entry import PAIRING, Change, Entry
from archive.model.identity import FrameId


def pairing(companion: int, frame: int | None) -> Change:
    value = None if frame is None else {"frame": frame_id(frame)}
    return Change(subjects=(frame_id(companion),), layer=PAIRING, value=value)


def holding(*numbers: int) -> list[Entry]:
    """Entries of a camera and of a roll with these frames, ten seconds apart."""
    files = [roll_file(number, seconds=10 * number) for number in numbers]
    return [
        entry(camera(), kind="camera", counter=1),
        entry(ingest(roll(files)), kind="ingest", counter=2),
    ]


def told(*entries: Entry) -> Catalogue:
    catalogue = memory_catalogue()
    catalogue.apply(entries)
    return catalogue


def pairs(catalogue: Catalogue) -> dict[str, str]:
    with transaction(catalogue.engine) as session:
        return all_pairs(session)


def frames(catalogue: Catalogue) -> set[FrameId]:
    return {frame.id for frame in catalogue.frames()}


def test_a_companion_is_no_frame_while_its_frame_is_held() -> None:
    catalogue = told(*holding(1, 2), entry(pairing(2, 1), kind="pairing", counter=3))
    assert frames(catalogue) == {frame_id(1)}
    with transaction(catalogue.engine) as session:
        assert companions_of(session, [frame_id(1)]) == {frame_id(2): frame_id(1)}
        assert stand_for(session, [frame_id(1), frame_id(2)]) == {frame_id(2): frame_id(1)}


def test_a_companion_stays_a_frame_while_its_frame_is_not_held() -> None:
    catalogue = told(*holding(2), entry(pairing(2, 1), kind="pairing", counter=3))
    assert frames(catalogue) == {frame_id(2)}
    assert pairs(catalogue) == {}


@pytest.mark.parametrize("ring", [(1, 2), (1, 2, 3)])
def test_pairings_in_a_ring_count_for_nothing_and_lose_no_frame(ring: tuple[int, ...]) -> None:
    said = [
        entry(pairing(one, other), kind="pairing", counter=3 + at)
        for at, (one, other) in enumerate(zip(ring, ring[1:] + ring[:1], strict=True))
    ]
    catalogue = told(*holding(*ring), *said)
    assert frames(catalogue) == {frame_id(number) for number in ring}


def test_one_that_stands_for_another_s_companion_waits_until_it_is_said_anew() -> None:
    chain = [
        *holding(1, 2, 3),
        entry(pairing(3, 2), kind="pairing", counter=3),
        entry(pairing(2, 1), kind="pairing", counter=4),
    ]
    assert frames(told(*chain)) == {frame_id(1), frame_id(3)}
    assert frames(told(*chain, entry(pairing(3, 1), kind="pairing", counter=5))) == {frame_id(1)}


def test_the_newest_pairing_wins_and_null_takes_it_back() -> None:
    said = [
        *holding(1, 2, 3),
        entry(pairing(3, 1), kind="pairing", counter=3),
        entry(pairing(3, 2), kind="pairing", counter=4),
    ]
    assert pairs(told(*said)) == {frame_id(3): frame_id(2)}
    assert pairs(told(*said, entry(pairing(3, None), kind="pairing", counter=5))) == {}


@pytest.mark.parametrize("last", [1, None], ids=["paired", "taken back"])
def test_any_order_of_entries_gives_the_same_tables(last: int | None) -> None:
    fixed = holding(1)
    files = [roll_file(number, seconds=10 * number) for number in (2, 3)]
    facts = Change(subjects=(frame_id(2),), layer="facts", value={"iso": 800})
    moving = [
        entry(ingest(roll(files, token="00000002")), kind="ingest", counter=3),
        entry(pairing(2, 1), kind="pairing", counter=4),
        entry(rating(2, 4), counter=5),
        entry(facts, kind="facts", counter=6),
        entry(pairing(2, last), kind="pairing", counter=7),
    ]
    seen = []
    for order in list(itertools.permutations(moving))[::17]:
        catalogue = told(*fixed)
        for one in order:
            catalogue.apply([one])
        ids = sorted(frames(catalogue))
        known = catalogue.frames_by_id(ids)
        found = (
            ids,
            catalogue.stated_about(ids, "rating"),
            {i: known[i].facts.iso for i in ids},
            pairs(catalogue),
        )
        if found not in seen:
            seen.append(found)
    assert len(seen) == 1
    ids, ratings, iso, _ = seen[0]
    holder = frame_id(1) if last == 1 else frame_id(2)
    assert ratings == {(holder, ""): 4}
    assert iso[holder] == 800
    assert (frame_id(2) in ids) is (last is None)


def test_versions_of_both_are_versions_of_the_frame_and_one_entry_about_both_is_one() -> None:
    chosen = selection(1, 2)
    catalogue = told(
        *holding(1, 2),
        entry(own(2, exposure(0.5)), kind="recipe", counter=3),
        entry(*shared(chosen, exposure(1.0)), kind="recipe", counter=4),
        entry(pairing(2, 1), kind="pairing", counter=5),
    )
    found = versions_of(catalogue, [frame_id(1)])[frame_id(1)]
    assert [(version.layer, version.frame) for version in found] == [
        ("recipe", frame_id(2)),
        ("recipe-shared", frame_id(1)),
    ]
    standing = standings(catalogue, [frame_id(2), frame_id(1)])
    assert standing[frame_id(2)] == standing[frame_id(1)]
    assert standing[frame_id(1)].own[0].recipe == exposure(0.5)


@pytest.mark.parametrize("value", [{"frame": "x"}, {"frame": None}, {}, 7, {"frame": frame_id(2)}], ids=repr)
def test_a_pairing_that_names_no_frame_or_itself_is_set_aside(value: object) -> None:
    change = Change(subjects=(frame_id(2),), layer=PAIRING, value=value)
    catalogue = told(*holding(1, 2), entry(change, kind="pairing", counter=3))
    assert frames(catalogue) == {frame_id(1), frame_id(2)}
    assert len(catalogue.faults()) == 1
