"""Statements and entries as values."""

from __future__ import annotations

import pytest
from support.builders import entry, entry_id, exposure, frame_id, rating

from archive.model.entry import OWN, Change, Entry, Version


def test_a_statement_about_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one subject"):
        Change(subjects=(), layer="rating", value=1)


def test_entries_are_ordered_by_counter_and_then_by_id() -> None:
    def at(counter: int, number: int, time: str) -> Entry:
        return Entry(
            id=entry_id(number),
            name="",
            kind="rating",
            counter=counter,
            time=time,
            writer="w",
            previous=None,
            person="",
            changes=(rating(1, 1),),
        )

    late_clock, early_clock = at(2, 1, "2030-01-01T00:00:00Z"), at(3, 2, "2020-01-01T00:00:00Z")
    assert late_clock.order < early_clock.order
    one, two = sorted([at(5, 7, ""), at(5, 8, "")], key=lambda each: each.order)
    assert one.id < two.id


def test_the_statements_of_one_layer_are_picked_out_in_order() -> None:
    word = Change(subjects=(frame_id(1),), layer="keyword", line="river ice", value=True)
    told = entry(rating(1, 3), word, rating(2, 4))
    assert [change.value for change in told.about("rating")] == [3, 4]
    assert list(told.about("keyword")) == [word]
    assert list(told.about("recipe")) == []


def test_a_version_says_its_time_with_its_zone() -> None:
    version = Version(
        entry=entry_id(1),
        counter=1,
        time="2026-03-19T06:15:02Z",
        person="",
        frame=frame_id(1),
        layer=OWN,
        line="main",
        recipe=exposure(0.5),
    )
    assert version.when == "2026-03-19 06:15 UTC"
