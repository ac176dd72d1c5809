"""Sequences that are told anew around what changed are those that a catalogue told from nothing has."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
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
from archive.model.entry import Change, Entry
from archive.nights.shots import LONGEST_GAP_S

HOUR = 3600.0


def word(layer: str, number: int, value: Any = True) -> Change:
    return Change(subjects=(frame_id(number),), layer=layer, value=value)


def numbered(first: int, number: int, night: str = "2026-03-18") -> Change:
    return word("sequence-number", first, {"night": night, "camera": CAMERA, "number": number})


def at(catalogue: Catalogue) -> dict[str, tuple[str | None, int | None]]:
    return {frame.id: (frame.sequence, frame.index) for frame in catalogue.frames()}


def test_a_run_without_a_number_is_answered_and_not_told() -> None:
    catalogue = memory_catalogue()
    found = catalogue.apply([entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")])
    assert found == [Unnumbered(camera=CAMERA, night="2026-03-18", number=1, first=frame_id(1))]
    assert catalogue.sequences() == []


def test_a_pause_longer_than_the_longest_gap_ends_a_run_whatever_its_cadence() -> None:
    slow = [roll_file(n, seconds=n * (LONGEST_GAP_S + 60)) for n in range(1, 9)]
    steady = [roll_file(n, seconds=n * (LONGEST_GAP_S - 60)) for n in range(11, 19)]
    for files, runs in ((slow, 0), (steady, 1)):
        catalogue = memory_catalogue()
        found = catalogue.apply([entry(camera(), site(), ingest(roll(files)), kind="ingest")])
        assert len(found) == runs


def test_a_join_holds_over_a_pause_of_a_day_and_taking_it_back_parts_again() -> None:
    files = [roll_file(n, seconds=n * 10 + (86_400 if n > 5 else 0)) for n in range(1, 11)]
    catalogue = memory_catalogue()
    catalogue.apply([entry(camera(), site(), ingest(roll(files)), kind="ingest")])
    catalogue.apply([entry(numbered(1, 1), numbered(6, 1, "2026-03-19"), kind="sequence", counter=2)])
    assert [line.frames for line in catalogue.sequences()] == [5, 5]
    catalogue.apply([entry(word("sequence-join", 6), kind="sequence", counter=3)])
    assert [line.frames for line in catalogue.sequences()] == [10]
    catalogue.apply([entry(word("sequence-join", 6, False), kind="sequence", counter=4)])
    assert [line.frames for line in catalogue.sequences()] == [5, 5]
    assert {key for key, _ in at(catalogue).values()} == {line.key for line in catalogue.sequences()}


def test_a_night_in_the_middle_that_leaves_parts_what_it_held_together() -> None:
    def night(token: str, numbers: Sequence[int], begin: float) -> Change:
        files = [roll_file(n, seconds=begin + i * 1800) for i, n in enumerate(numbers)]
        return ingest(roll(files, token=token))

    catalogue = memory_catalogue()
    catalogue.apply(
        [
            entry(camera(), site(), night("00000001", range(1, 7), 0), kind="ingest"),
            entry(night("00000002", range(7, 27), 6 * 1800), kind="ingest", counter=2),
            entry(night("00000003", range(27, 33), 26 * 1800), kind="ingest", counter=3),
            entry(numbered(1, 1), kind="sequence", counter=4),
        ]
    )
    assert [line.frames for line in catalogue.sequences()] == [32]
    # The same roll told again by a later entry, with other files: the frames between are gone.
    left = catalogue.apply([entry(night("00000002", range(40, 41), 500 * HOUR), kind="ingest", counter=9)])
    assert [(line.frames, line.last) for line in catalogue.sequences()] == [
        (6, STARTED + timedelta(seconds=5 * 1800))
    ]
    assert [each.first for each in left] == [frame_id(27)]


def test_a_number_that_comes_to_light_as_given_before_leaves_the_run_that_had_it() -> None:
    late = roll([roll_file(n, seconds=20 * HOUR + 10 * n) for n in range(30, 37)], token="000000aa")
    told = entry(camera(), site(), ingest(sequence_roll(range(1, 7))), ingest(late), kind="ingest")
    later, before = (entry(numbered(n, 1), kind="sequence", counter=c) for n, c in ((1, 3), (30, 2)))
    at_once, step_by_step = memory_catalogue(), memory_catalogue()
    at_once.apply([told, before, later])
    for each in (told, later, before):
        left = step_by_step.apply([each])
    assert [each.first for each in left] == [frame_id(1)]
    assert [line.frames for line in step_by_step.sequences()] == [7]
    assert step_by_step.dump() == at_once.dump()


def nights(draw: st.DrawFn) -> list[Entry]:
    """Cards of some nights with steady runs, single frames and pauses, and words about their frames."""
    entries, number = [entry(camera(), site(), kind="site")], 0
    moment = 0.0
    for token in range(draw(st.integers(2, 5))):
        moment += draw(st.sampled_from([30.0, 5 * HOUR, 7 * HOUR, 20 * HOUR]))
        files = []
        for _ in range(draw(st.integers(1, 3))):
            cadence = draw(st.sampled_from([10.0, 12.0, 900.0, 4 * HOUR]))
            for _ in range(draw(st.integers(1, 8))):
                number += 1
                moment += cadence
                files.append(roll_file(number, seconds=moment))
            moment += draw(st.sampled_from([0.0, 300.0, 3 * HOUR]))
        entries.append(entry(ingest(roll(files, token=f"{token:08x}")), kind="ingest", counter=token + 2))
    for counter in range(draw(st.integers(0, 8))):
        which = draw(st.integers(1, number))
        said = draw(st.sampled_from(["join", "break", "number", "clock", "facts"]))
        if said == "number":
            change = numbered(
                which, draw(st.integers(1, 3)), draw(st.sampled_from(["2026-03-18", "2026-03-20"]))
            )
        elif said == "clock":
            true = STARTED + timedelta(seconds=draw(st.sampled_from([-4000, 72, 30_000])))
            value = {
                "reads": STARTED.isoformat(),
                "true": true.isoformat(),
                "from": None,
                "until": None,
                "drift": 0,
            }
            change = Change(subjects=(CAMERA,), layer="clock", value=value)
        elif said == "facts":
            moved = (STARTED + timedelta(seconds=draw(st.sampled_from([5.0, 70_000.0])))).replace(tzinfo=None)
            change = word("facts", which, {"taken": moved.isoformat()})
        else:
            change = word(f"sequence-{said}", which, draw(st.booleans()))
        entries.append(entry(change, kind="sequence", counter=100 + counter))
    return entries


@given(st.data())
@settings(max_examples=25, deadline=None)
@pytest.mark.slow
def test_entry_by_entry_in_any_order_ends_as_all_at_once(data: st.DataObject) -> None:
    entries = nights(data.draw)
    at_once, step_by_step = memory_catalogue(), memory_catalogue()
    at_once.apply(entries)
    for each in data.draw(st.permutations(entries)):
        step_by_step.apply([each])
    assert step_by_step.dump() == at_once.dump()
    held = at(at_once)
    lines = at_once.sequences()
    assert sum(line.frames for line in lines) == sum(key is not None for key, _ in held.values())
    for line in lines:
        assert sorted(i for key, i in held.values() if key == line.key) == list(range(1, line.frames + 1))


def test_cameras_that_run_side_by_side_have_sequences_of_their_own() -> None:
    catalogue = memory_catalogue()
    north = sequence_roll(range(1, 13))
    south = roll(
        [roll_file(n, seconds=(n - 20) * 13 + 3) for n in range(20, 29)],
        token="000000bb",
        camera_id=OTHER_CAMERA,
    )
    found = catalogue.apply(
        [entry(camera(), camera("south", OTHER_CAMERA), site(), ingest(north), ingest(south), kind="ingest")]
    )
    assert [(each.camera, each.number, each.first) for each in found] == sorted(
        [(CAMERA, 1, frame_id(1)), (OTHER_CAMERA, 1, frame_id(20))]
    )
    given_ = [
        word("sequence-number", int_of(each.first), {"night": each.night, "camera": each.camera, "number": 1})
        for each in found
    ]
    catalogue.apply([entry(*given_, kind="sequence", counter=2)])
    assert sorted((line.camera, line.frames, line.cadence_s) for line in catalogue.sequences()) == [
        ("north", 12, 10.0),
        ("south", 9, 13.0),
    ]


def test_a_title_stays_with_its_sequence_when_archives_are_united_and_a_card_comes_late() -> None:
    on_time = roll([roll_file(n, seconds=n * 10) for n in range(3, 9)])
    files = entry(camera(), site(), ingest(on_time), kind="ingest")
    ours = [entry(numbered(3, 3), kind="sequence", counter=5, writer="a" * 32)]
    ours.append(entry(word("sequence-title", 3, "The arc"), kind="sequence", counter=6, writer="a" * 32))
    theirs = entry(numbered(3, 1), kind="sequence", counter=9, writer="b" * 32)
    late = entry(
        ingest(roll([roll_file(1, seconds=10), roll_file(2, seconds=20)], token="000000aa")),
        kind="ingest",
        counter=12,
    )
    for order in ([files, *ours, theirs, late], [late, theirs, *reversed(ours), files]):
        catalogue = memory_catalogue()
        for each in order:
            catalogue.apply([each])
        (line,) = catalogue.sequences()
        assert (line.number, line.title, line.frames) == (1, "The arc", 8)


def test_every_number_that_was_ever_given_to_a_run_stands_and_none_is_given_again() -> None:
    files = ingest(sequence_roll(range(1, 7)))
    ours = entry(numbered(1, 3), kind="sequence", counter=7, writer="a" * 32)
    theirs = entry(numbered(1, 1), kind="sequence", counter=5, writer="b" * 32)
    late = ingest(roll([roll_file(n, seconds=3600 + n * 10) for n in range(11, 17)], token="000000aa"))
    for order in ((ours, theirs), (theirs, ours)):
        catalogue = memory_catalogue()
        catalogue.apply([entry(camera(), site(), files, kind="ingest"), *order])
        assert [line.number for line in catalogue.sequences()] == [1]
        key = catalogue.sequences()[0].key
        assert [catalogue.sequence_claimed(CAMERA, "2026-03-18", n) for n in (1, 2, 3)] == [key, None, key]
        left = catalogue.apply([entry(late, kind="ingest", counter=9)])
        assert [each.number for each in left] == [4]


@given(st.data())
@settings(max_examples=6, deadline=None)
def test_numbers_given_apart_never_move_to_another_run_whatever_the_order_of_uniting(
    data: st.DataObject,
) -> None:
    """Two archives take in the same cards in other orders, number what they see, and are united."""
    cards = [
        entry(
            camera(),
            site(),
            ingest(
                roll(
                    [roll_file(10 * c + n, seconds=c * HOUR + n * 10) for n in range(1, 7)], token=f"{c:08x}"
                )
            ),
            kind="ingest",
            counter=c,
        )
        for c in range(1, 5)
    ]
    journals: list[list[Entry]] = []
    given: list[dict[str, int]] = []
    for writer in "ab":
        seen = data.draw(st.permutations(cards))[: data.draw(st.integers(1, 4))]
        catalogue, held = memory_catalogue(), []
        for card in seen:
            held.append(card)
            for found in catalogue.apply([card]):
                word_ = entry(
                    numbered(int_of(found.first), found.number),
                    kind="sequence",
                    counter=10 + len(held),
                    writer=writer * 32,
                )
                held.append(word_)
                catalogue.apply([word_])
        journals.append(held)
        given.append(
            {
                f.id: line.number
                for line in catalogue.sequences()
                for f in catalogue.frames(sequence=line.key)[:1]
            }
        )
    both = []
    for first, second in (journals, journals[::-1]):
        united = memory_catalogue()
        left = united.apply(first)
        left = united.apply(second)
        both.append((united.dump(), left))
        addresses = {f.id: line for line in united.sequences() for f in united.frames(sequence=line.key)[:1]}
        claims: dict[int, set[str]] = {}
        for told in given:
            for frame, number in told.items():
                claims.setdefault(number, set()).add(frame)
        for told in given:
            for frame, number in told.items():
                if len(claims[number]) == 1:
                    # Nobody else ever had this number: it finds the run, whatever number that goes by.
                    assert united.sequence_claimed(CAMERA, "2026-03-18", number) == addresses[frame].key
        assert not {each.number for each in left} & claims.keys()
    assert both[0] == both[1]


def int_of(frame: str) -> int:
    return next(number for number in range(1, 60) if frame_id(number) == frame)
