"""A catalogue that is filled at once is that which grew entry by entry, whatever the entries tell."""

from __future__ import annotations

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
    delivered,
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
    sequence_roll,
    shared,
    site,
)

from archive.catalogue.bulk import drop_indexes, fill
from archive.catalogue.database import transaction
from archive.catalogue.hands import Hands
from archive.catalogue.index import Catalogue
from archive.errors import DamagedFileError
from archive.exports.specs import specs
from archive.journal.log import Fault
from archive.model.capture import RollFile
from archive.model.entry import Change, Entry

HOUR = 3600.0


def said(layer: str, number: int, value: Any, line: str = "") -> Change:
    return Change(subjects=(frame_id(number),), layer=layer, line=line, value=value)


def number(first: int, given: int, night: str = "2026-03-18", camera_id: str = CAMERA) -> Change:
    value = {"night": night, "camera": camera_id, "number": given}
    return said("sequence-number", first, value, f"{night}-{given}")


def clock(seconds: int) -> Change:
    value = {
        "reads": STARTED.isoformat(),
        "true": (STARTED + timedelta(seconds=seconds)).isoformat(),
        "from": None,
        "until": None,
        "drift": 0,
    }
    return Change(subjects=(CAMERA,), layer="clock", value=value)


def bare(file: RollFile, **changed: Any) -> RollFile:
    return RollFile(**{name: getattr(file, name) for name in file.__dataclass_fields__} | changed)


def story() -> list[Entry]:
    """Cards of two cameras, one late and one taken in twice, with words of every kind about their frames."""
    north = sequence_roll(range(1, 9))
    late = roll([roll_file(n, seconds=-40 + 10 * i) for i, n in enumerate(range(20, 26))], token="22222222")
    again = roll([roll_file(n, seconds=10 * n) for n in (1, 2, 30)], token="33333333")
    jpegs = [bare(roll_file(40 + n, seconds=10 * (n - 1)), facts=None) for n in (1, 2)]
    river = roll([*jpegs, roll_file(50, seconds=9 * HOUR)], token="11111111", camera_id=OTHER_CAMERA, at=None)
    corrected = roll([roll_file(n, seconds=12 * n) for n in (60, 61, 62)], token="44444444")
    value = delivered(spec=specs()[0].to_json())
    told = [
        (camera(), camera("river", OTHER_CAMERA), site(), ingest(north)),
        (ingest(river),),
        (number(1, 1), number(20, 2)),
        (rating(1, 4), rating(2, -1), rating(41, 3), rating(77, 5)),
        (said("keyword", 1, True, "arc"), said("keyword", 41, True, "ice"), said("keyword", 2, False, "arc")),
        (own(3, exposure(0.5)), own(42, exposure(1.0))),
        shared(selection(4, 5, 6), exposure(0.25)),
        (said("facts", 5, {"iso": 800, "taken": "2026-03-19T01:00:00"}), said("facts", 41, {"iso": 100})),
        (clock(72),),
        (said("pairing", 41, {"frame": frame_id(1)}), said("pairing", 42, {"frame": frame_id(99)})),
        (ingest(late),),
        (ingest(again), ingest(corrected)),
        (said("sequence-break", 4, True), said("sequence-join", 7, True)),
        (said("sequence-title", 1, "Arc"), site(longitude=20.0)),
        (Change(subjects=("job:1",), layer="delivered", line="1", value=value),),
        (rating(1, 17),),
    ]
    return [entry(*changes, kind="ingest", counter=at) for at, changes in enumerate(told, 1)]


def blank() -> Catalogue:
    catalogue = Catalogue(memory_catalogue().engine, blank=True)
    with transaction(catalogue.engine) as session:
        drop_indexes(session)
    return catalogue


def at_once(items: list[Entry | Fault]) -> Catalogue:
    catalogue = blank()
    catalogue.apply(items)
    return catalogue


def test_all_at_once_gives_the_rows_of_one_after_the_other() -> None:
    items: list[Entry | Fault] = [*story(), Fault(name="x", error=DamagedFileError("torn", hint=""))]
    grown = memory_catalogue()
    for item in items:
        grown.apply([item])
    filled = at_once(items)
    assert filled.dump() == grown.dump()
    held = {row[0]: row for row in grown.dump()["frame"]}
    assert len(held) == 20
    assert frame_id(41) not in held, "it stands for another"


@given(st.permutations(story()))
@settings(max_examples=5, deadline=None)
@pytest.mark.slow
def test_the_order_in_which_entries_are_read_means_nothing(entries: list[Entry]) -> None:
    assert at_once([*entries]).dump() == at_once([*story()]).dump()


def test_a_sequence_without_a_number_is_answered_and_numbered_in_the_same_go() -> None:
    asked = []

    def numbers(found: Any) -> list[Entry]:
        asked.extend(found)
        return [entry(*(number(1, each.number) for each in found), kind="sequence", counter=9)]

    catalogue = blank()
    catalogue.apply([entry(camera(), site(), ingest(sequence_roll(range(1, 7))), kind="ingest")], numbers)
    assert [each.first for each in asked] == [frame_id(1)]
    assert [line.frames for line in catalogue.sequences()] == [6]
    assert catalogue.nights()[0].sequences == 1


def test_every_index_is_made_again() -> None:
    def indexes(catalogue: Catalogue) -> set[str]:
        with catalogue.engine.connect() as connection:
            rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'index'")
            return {row[0] for row in rows}

    missing = indexes(memory_catalogue()) - indexes(at_once([*story()]))
    assert missing == {"ix_holding_digest"}, "made when the hash lists are in"


def test_nothing_at_all_fills_nothing() -> None:
    with transaction(blank().engine) as session:
        assert fill(session, [], Hands()) == []
