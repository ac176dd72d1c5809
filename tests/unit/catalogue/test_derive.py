"""Times, nights and sequences that follow from the statements."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from support.builders import (
    CAMERA,
    STARTED,
    camera,
    entry,
    frame_id,
    ingest,
    memory_catalogue,
    roll,
    roll_file,
    sequence_roll,
    site,
)

from archive.catalogue.index import Catalogue
from archive.catalogue.runs import Unnumbered
from archive.model.entry import Change


def numbered(first: int, number: int, night: str = "2026-03-18") -> Change:
    value = {"night": night, "camera": CAMERA, "number": number}
    return Change(subjects=(frame_id(first),), layer="sequence-number", value=value)


def word(layer: str, number: int, value: Any = True) -> Change:
    return Change(subjects=(frame_id(number),), layer=layer, value=value)


def held(*frames: int) -> Catalogue:
    catalogue = memory_catalogue()
    catalogue.apply([entry(camera(), site(), ingest(sequence_roll(frames)), kind="ingest")])
    return catalogue


def places(catalogue: Catalogue) -> dict[str, int | None]:
    return {frame.name[4:8]: frame.index for frame in catalogue.frames()}


def test_a_run_that_has_no_number_is_told_with_the_next_free_one_and_its_first_frame() -> None:
    catalogue = memory_catalogue()
    found = catalogue.apply([entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")])
    assert found == [Unnumbered(camera=CAMERA, night="2026-03-18", number=1, first=frame_id(1))]
    assert catalogue.sequences() == []


def test_a_numbered_run_is_a_sequence_and_its_frames_are_counted_from_one() -> None:
    catalogue = held(*range(1, 7))
    assert catalogue.apply([entry(numbered(1, 1), kind="sequence", counter=2)]) == []
    (line,) = catalogue.sequences()
    assert (line.address, line.frames, line.missed, line.cadence_s) == ("2026-03-18/north/1", 6, 0, 10.0)
    assert places(catalogue) == {f"{n:04d}": n for n in range(1, 7)}


def test_a_number_stays_with_its_frame_when_late_cards_bring_earlier_frames() -> None:
    catalogue = held(*range(1, 7))
    catalogue.apply([entry(numbered(1, 1), kind="sequence", counter=2)])
    early = roll([roll_file(20 + n, seconds=-30 + 10 * n) for n in range(3)], token="00000002")
    catalogue.apply([entry(ingest(early), kind="ingest", counter=3)])
    (line,) = catalogue.sequences()
    assert (line.number, line.frames) == (1, 9)
    assert catalogue.frames(sequence=line.key, between=(1, 1))[0].id == frame_id(20)


def test_two_claims_to_one_number_go_to_the_first_stated_and_the_other_gets_a_new_one() -> None:
    catalogue = memory_catalogue()
    second = roll([roll_file(40 + n, seconds=7200 + 10 * n) for n in range(6)], token="00000002")
    catalogue.apply(
        [entry(camera(), site(), ingest(sequence_roll(range(1, 7))), ingest(second), kind="ingest")]
    )
    left = catalogue.apply(
        [
            entry(numbered(40, 1), kind="sequence", counter=2),
            entry(numbered(1, 1), kind="sequence", counter=3),
        ]
    )
    assert [(line.number, line.frames) for line in catalogue.sequences()] == [(1, 6)]
    assert catalogue.frames(sequence=catalogue.sequences()[0].key)[0].id == frame_id(40)
    assert left == [Unnumbered(camera=CAMERA, night="2026-03-18", number=2, first=frame_id(1))]


def test_a_break_before_a_frame_parts_a_run() -> None:
    catalogue = held(*range(1, 13))
    catalogue.apply([entry(numbered(1, 1), kind="sequence", counter=2)])
    left = catalogue.apply([entry(word("sequence-break", 7), kind="sequence", counter=3)])
    assert [(each.number, each.first) for each in left] == [(2, frame_id(7))]
    catalogue.apply([entry(numbered(7, 2), kind="sequence", counter=4)])
    assert [(line.number, line.frames) for line in catalogue.sequences()] == [(1, 6), (2, 6)]


def test_a_break_that_is_taken_back_parts_nothing_and_the_first_number_stands() -> None:
    catalogue = held(*range(1, 13))
    catalogue.apply(
        [
            entry(numbered(1, 1), kind="sequence", counter=2),
            entry(word("sequence-break", 7), kind="sequence", counter=3),
            entry(numbered(7, 2), kind="sequence", counter=4),
            entry(word("sequence-break", 7, False), kind="sequence", counter=5),
        ]
    )
    assert [(line.number, line.frames) for line in catalogue.sequences()] == [(1, 12)]


def test_a_clock_moves_frames_to_another_night_and_taking_it_back_moves_them_again() -> None:
    catalogue = held(1)
    true = STARTED - timedelta(days=1)
    value = {
        "reads": STARTED.isoformat(),
        "true": true.isoformat(),
        "from": None,
        "until": None,
        "drift": 0,
    }
    clock = Change(subjects=(CAMERA,), layer="clock", line="..", value=value)
    catalogue.apply([entry(clock, kind="clock", counter=2)])
    (frame,) = catalogue.frames()
    assert (frame.night, frame.taken) == ("2026-03-17", true)
    catalogue.apply(
        [entry(Change(subjects=(CAMERA,), layer="clock", line="..", value=None), kind="clock", counter=3)]
    )
    assert catalogue.frames()[0].night == "2026-03-18"


def test_a_site_that_comes_later_decides_the_night_of_frames_held_already() -> None:
    catalogue = memory_catalogue()
    noon = roll_file(1, seconds=-10 * 3600)
    catalogue.apply([entry(ingest(roll([noon])), kind="ingest")])
    assert catalogue.frames()[0].night == "2026-03-18"
    catalogue.apply([entry(site(longitude=-18.9), kind="site", counter=2)])
    assert catalogue.frames()[0].night == "2026-03-17"


def test_corrected_facts_are_laid_over_those_that_were_read() -> None:
    catalogue = held(1)
    catalogue.apply([entry(word("facts", 1, {"iso": 800, "offset": "+02:00"}), kind="facts", counter=2)])
    (frame,) = catalogue.frames()
    assert (frame.facts.iso, frame.facts.f_number) == (800, 2.8)
    assert frame.taken == STARTED - timedelta(hours=2)


def test_of_equal_bytes_in_two_rolls_of_a_camera_the_first_taken_in_is_the_frame() -> None:
    catalogue = memory_catalogue()
    again = roll([roll_file(1, seconds=0)], token="00000002")
    catalogue.apply([entry(ingest(again), kind="ingest", counter=5)])
    catalogue.apply([entry(ingest(roll([roll_file(1, seconds=0)])), kind="ingest", counter=2)])
    assert [frame.roll for frame in catalogue.frames()] == ["7c1f9a2e"]


def test_a_roll_without_a_known_site_is_placed_by_the_offset_of_its_camera() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([entry(ingest(roll([roll_file(1, seconds=0)], at=None)), kind="ingest")])
    (frame,) = catalogue.frames()
    assert (frame.night, frame.time_source) == ("2026-03-18", "offset")
    assert catalogue.nights()[0].site is None
