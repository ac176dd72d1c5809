"""What entries tell of each other."""

from __future__ import annotations

import random

from archive.journal.chains import Chains, Fork, Link, Missing, SetBack, examine


def link(name: str, previous: str | None = None, *, writer: str = "w1", time: str = "06:15:02") -> Link:
    return Link(id=f"id-{name}", name=name, writer=writer, previous=previous, time=f"2026-03-19T{time}Z")


def test_whole_chains_of_several_writers_tell_nothing() -> None:
    links = [
        link("a"),
        link("b", "id-a"),
        link("c", writer="w2"),
        link("d", "id-b"),
        link("e", "id-c", writer="w2"),
    ]
    random.Random(1).shuffle(links)
    assert examine(links) == Chains()
    assert examine([]) == Chains()
    assert examine(links * 2) == Chains()


def test_an_entry_that_was_removed_is_missed_by_the_one_that_follows_it() -> None:
    links = [link("a"), link("c", "id-b"), link("d", "id-c")]
    assert examine(links).missing == (Missing(id="id-b", follower="c"),)
    assert examine(links[:1]) == Chains()


def test_two_entries_of_one_writer_behind_the_same_one_are_a_fork() -> None:
    links = [link("a"), link("c", "id-a"), link("b", "id-a"), link("x", "id-a", writer="w2")]
    assert examine(links).forks == (Fork(writer="w1", previous="id-a", names=("b", "c")),)


def test_two_first_entries_of_one_writer_are_a_fork_and_of_two_writers_none() -> None:
    assert examine([link("a"), link("b", writer="w2")]).forks == ()
    assert examine([link("a"), link("b")]).forks == (Fork(writer="w1", previous=None, names=("a", "b")),)


def test_a_clock_that_went_back_by_more_than_a_nudge_is_told_with_how_much() -> None:
    early, late = link("b", "id-a", time="05:15:02"), link("a", time="06:15:02")
    assert examine([late, early]).set_back == (SetBack(name="b", previous="a", seconds=3600),)
    nudged = link("b", "id-a", time="06:14:02")
    assert examine([late, nudged]).set_back == ()
    assert examine([late, link("b", "id-a", time="06:14:01")]).set_back[0].seconds == 61


def test_a_time_that_is_none_is_passed_over() -> None:
    assert examine([link("a", time="99:99:99"), link("b", "id-a", time="06:15:02")]).set_back == ()
