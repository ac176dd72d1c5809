"""Values that can be read, told from values that cannot."""

from __future__ import annotations

from typing import Any

import pytest
from support.builders import (
    CAMERA,
    camera,
    entry,
    frame_id,
    ingest,
    rating,
    roll_file,
    sequence_roll,
    site,
)

from archive.catalogue.checking import check_value
from archive.journal.current import Statement, statements
from archive.model.entry import Change

CLOCK: dict[str, Any] = {
    "reads": "2026-03-18T22:00:00+00:00",
    "true": "2026-03-18T22:01:15+00:00",
    "from": None,
    "until": "2026-03-19T12:00:00+00:00",
    "drift": 0.5,
}


def statement(change: Change) -> Statement:
    (found,) = statements(entry(change))
    return found


@pytest.mark.parametrize(
    "change",
    [
        camera(),
        site(),
        ingest(sequence_roll([1, 2, 3])),
        rating(1, -1),
        Change(subjects=(CAMERA,), layer="clock", value=CLOCK),
        Change(subjects=(CAMERA,), layer="clock", value=None),
        Change(subjects=(CAMERA,), layer="lens", line="Wide 20", value=None),
        Change(subjects=(frame_id(1),), layer="facts", value={"iso": 100, "later": "field"}),
        Change(subjects=(frame_id(1),), layer="keyword", line="ice", value=True),
        Change(subjects=("x",), layer="unheard-of", value=[None]),
    ],
    ids=lambda change: change.layer,
)
def test_a_value_as_it_is_written_here_can_be_read(change: Change) -> None:
    check_value(statement(change))


@pytest.mark.parametrize(
    "changed",
    [
        {"digest": "md5:1"},
        {"digest": None},
        {"size": -1},
        {"size": "many"},
        {"role": "poem"},
        {"path": 5},
        {"modified": "2026-03-18T22:30:15"},
        {"modified": ""},
        {"companion_of": "x"},
        {"original": 7},
        {"facts": {"taken": 20260318}},
        {"facts": {"iso": 3200.5}},
        {"facts": {"iso": True}},
        {"facts": {"faults": "many"}},
        {"facts": None},
    ],
    ids=str,
)
def test_a_roll_with_an_impossible_file_cannot_be_read(changed: dict[str, Any]) -> None:
    change = ingest(sequence_roll([1, 2]))
    change.value["files"][1] |= changed
    with pytest.raises((TypeError, ValueError, LookupError, AttributeError)):
        check_value(statement(change))


def test_a_roll_that_lists_a_path_twice_cannot_be_read() -> None:
    change = ingest(sequence_roll([1, 2]))
    change.value["files"].append(change.value["files"][0])
    with pytest.raises(ValueError, match="a path twice"):
        check_value(statement(change))


@pytest.mark.parametrize("value", [-2, 6, 2.5, "3", None, True])
def test_what_is_no_rating_cannot_be_read(value: Any) -> None:
    with pytest.raises((TypeError, ValueError)):
        check_value(statement(Change(subjects=(frame_id(1),), layer="rating", value=value)))


@pytest.mark.parametrize("missing", sorted(CLOCK))
def test_a_clock_without_one_of_its_fields_cannot_be_read(missing: str) -> None:
    value = {key: held for key, held in CLOCK.items() if key != missing}
    with pytest.raises(KeyError, match=missing):
        check_value(statement(Change(subjects=(CAMERA,), layer="clock", value=value)))


def test_the_files_that_builders_make_are_the_ones_of_an_ingest() -> None:
    assert ingest(sequence_roll([1])).value["files"][0]["path"] == roll_file(1, seconds=0).path
