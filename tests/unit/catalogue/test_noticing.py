"""What a journal as a whole tells, in words."""

from __future__ import annotations

from support.builders import entry, entry_id, rating

from archive.catalogue.noticing import (
    gone_in_words,
    missing_in_words,
    noticed_in_words,
    strange_in_words,
)
from archive.journal.chains import Chains, Fork, Missing, SetBack


def test_a_lost_entry_is_told_by_its_id_with_the_one_that_follows_it() -> None:
    chains = Chains(missing=(Missing(id=entry_id(1), follower="0000000002-x"),))
    ((name, message),) = missing_in_words(chains, [])
    assert name == entry_id(1)
    assert entry_id(1)[7:23] in message and "0000000002-x" in message and "another volume" in message


def test_an_entry_that_is_held_and_set_aside_is_not_lost_as_well() -> None:
    made = entry(rating(1, 1))
    chains = Chains(missing=(Missing(id=made.id, follower="f"),))
    assert list(missing_in_words(chains, [made.name])) == []


def test_forks_clocks_and_strangers_are_each_told_by_name() -> None:
    chains = Chains(
        forks=(
            Fork(writer="w1", previous=entry_id(1), names=("a", "b")),
            Fork(writer="w2", previous=None, names=("c", "d")),
        ),
        set_back=(
            SetBack(name="e", previous="a", seconds=90),
            SetBack(name="f", previous="b", seconds=86_400),
        ),
    )
    told = dict(noticed_in_words(chains))
    assert "there are a, b" in told["a"] and entry_id(1)[7:23] in told["a"]
    assert "as its first entry there are c, d" in told["c"]
    assert "90 s earlier when e was written than at a" in told["e"]
    assert "24.0 h earlier" in told["f"]
    ((name, message),) = strange_in_words(["journal/no\x1btes.txt"])
    assert message.startswith(f"{name} lies in the journal") and "\x1b" not in name


def test_of_very_many_entries_that_are_gone_the_newest_are_named_and_the_others_counted() -> None:
    names = {f"{number:010d}-x" for number in range(1, 31)}
    told = dict(gone_in_words(names))
    assert list(told)[:2] == ["0000000030-x", "0000000029-x"] and len(told) == 21
    assert told[""].startswith("10 more") and "another volume" in told["0000000030-x"]
    assert dict(gone_in_words([])) == {}
