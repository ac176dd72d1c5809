"""Which level counts for a frame."""

from __future__ import annotations

import itertools
from typing import Any

from support.builders import camera, entry, frame_id, ingest, memory_catalogue, selection, sequence_roll, site

from archive.catalogue.levelling import levels_of
from archive.model.capture import Selection
from archive.model.entry import LEVELLING, SELECTION, Change, Entry


def levelling(chosen: Selection, value: Any, counter: int) -> Entry:
    changes = (
        Change(subjects=(chosen.id,), layer=SELECTION, value=chosen.to_json()),
        Change(subjects=(chosen.id,), layer=LEVELLING, value=value),
    )
    return entry(*changes, kind=LEVELLING, counter=counter)


def held() -> Entry:
    return entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")


IDS = [frame_id(number) for number in range(1, 7)]


def stops(entries: list[Entry]) -> list[float | None]:
    catalogue = memory_catalogue()
    catalogue.apply([held()])
    catalogue.apply(entries)
    found = levels_of(catalogue, IDS)
    return [found[frame].stops if frame in found else None for frame in IDS]


def test_the_last_statement_about_a_frame_counts_in_whatever_order_it_arrives() -> None:
    told = [
        levelling(selection(1, 2, 3, 4), {"stops": [0.1, 0.2, 0.3, 0.4]}, 2),
        levelling(selection(3, 4, 5), {"stops": [-0.3, -0.4, -0.5]}, 3),
    ]
    for order in itertools.permutations(told):
        assert stops(list(order)) == [0.1, 0.2, -0.3, -0.4, -0.5, None]


def test_taken_back_it_counts_no_more_also_where_another_came_before() -> None:
    told = [
        levelling(selection(1, 2), {"stops": [0.1, 0.2]}, 2),
        levelling(selection(1, 2, 3), {"stops": [0.5, 0.5, 0.5]}, 3),
        levelling(selection(1, 2, 3), None, 4),
    ]
    assert stops(told) == [None] * 6


def test_a_statement_that_cannot_be_read_is_set_aside() -> None:
    for value in ({"stops": []}, {"stops": ["x"]}, {"stops": [99]}, {}, 7):
        catalogue = memory_catalogue()
        catalogue.apply([held()])
        catalogue.apply([levelling(selection(1, 2), value, 2)])
        assert levels_of(catalogue, IDS) == {}
        assert len(catalogue.faults()) == 1


def test_a_list_that_is_too_short_levels_only_the_frames_it_names() -> None:
    assert stops([levelling(selection(1, 2, 3), {"stops": [0.1]}, 2)]) == [0.1] + [None] * 5
