"""Journals of two writers, united in any order: one catalogue, and the one that the fold gives."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
    STARTED,
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
    site,
)

from archive.catalogue.index import Catalogue
from archive.catalogue.lineage import standings
from archive.journal.current import Fold
from archive.model.entry import OWN, SHARED, Change, Entry

pytestmark = pytest.mark.slow

FRAMES = range(1, 9)
ROLLS = (
    roll([roll_file(n, seconds=10 * n) for n in range(1, 7)], token="00000001"),
    roll([roll_file(n, seconds=10 * n) for n in range(5, 9)], token="00000002", camera_id=OTHER_CAMERA),
    roll([roll_file(n, seconds=300 + 10 * n) for n in range(1, 9)], token="00000001"),
)
CHOICES = (selection(1, 2, 3), selection(3, 4), selection(2, 3, 4, 5, 6))

action = st.one_of(
    st.tuples(st.just("rate"), st.sampled_from(FRAMES), st.integers(-1, 5)),
    st.tuples(st.just("word"), st.sampled_from(FRAMES), st.sampled_from(["ice", "river"]), st.booleans()),
    st.tuples(st.just("own"), st.sampled_from(FRAMES), st.sampled_from([0.5, 1.0, 2.0]), st.booleans()),
    st.tuples(st.just("carry"), st.integers(0, len(CHOICES) - 1), st.sampled_from([0.5, -1.0])),
    st.tuples(st.just("break"), st.sampled_from(FRAMES), st.booleans()),
    st.tuples(st.just("join"), st.sampled_from(FRAMES), st.booleans()),
    st.tuples(st.just("number"), st.sampled_from(FRAMES), st.integers(1, 3)),
    st.tuples(st.just("clock"), st.sampled_from(["a", "b"]), st.integers(-90_000, 90_000) | st.none()),
    st.tuples(st.just("site"), st.sampled_from([18.9, -18.9])),
    st.tuples(st.just("ingest"), st.integers(0, len(ROLLS) - 1)),
)
step = st.one_of(
    st.tuples(st.integers(0, 1), action),
    st.tuples(st.integers(0, 1), st.just(("learn",))),
)


KINDS = {
    "rate": "rating",
    "word": "keywords",
    "own": "recipe",
    "carry": "recipe",
    "break": "sequence",
    "join": "sequence",
    "number": "sequence",
    "clock": "clock",
    "site": "site",
    "ingest": "ingest",
}


@dataclass
class Writer:
    """One working copy: what it wrote and has heard of, and so what it builds on."""

    name: str
    held: list[Entry] = field(default_factory=list)
    last: Entry | None = None

    def write(self, told: tuple[object, ...]) -> Entry:
        made = entry(
            *self._changes(told),
            kind=KINDS[str(told[0])],
            counter=1 + max((each.counter for each in self.held), default=0),
            writer=self.name,
            previous=self.last.id if self.last else None,
        )
        self.held.append(made)
        self.last = made
        return made

    def _changes(self, told: tuple[object, ...]) -> Sequence[Change]:
        match told:
            case ("rate", int(frame), int(value)):
                return [rating(frame, value)]
            case ("word", int(frame), str(word), bool(on)):
                return [Change(subjects=(frame_id(frame),), layer="keyword", line=word, value=on)]
            case ("own", int(frame), float(stops), bool(in_sequence)):
                older = [each.entry for each in Fold(self.held).current(frame_id(frame), OWN)]
                return [own(frame, exposure(stops), builds_on=sorted(older), in_sequence=in_sequence)]
            case ("carry", int(which), float(stops)):
                chosen, fold = CHOICES[which], Fold(self.held)
                older = {each.entry for frame in chosen.frames for each in fold.current(frame, SHARED)}
                return shared(chosen, exposure(stops), builds_on=sorted(older))
            case ("break" | "join" as layer, int(frame), bool(on)):
                return [Change(subjects=(frame_id(frame),), layer=f"sequence-{layer}", value=on)]
            case ("number", int(frame), int(number)):
                value = {"night": "2026-03-18", "camera": CAMERA, "number": number}
                return [Change(subjects=(frame_id(frame),), layer="sequence-number", value=value)]
            case ("clock", str(line), shift):
                value = None
                if isinstance(shift, int):
                    true = STARTED + timedelta(seconds=shift)
                    value = {"reads": STARTED.isoformat(), "true": true.isoformat(), "drift": 0}
                    value |= {"from": None, "until": None}
                return [Change(subjects=(CAMERA,), layer="clock", line=line, value=value)]
            case ("site", float(longitude)):
                return [site(longitude=longitude)]
            case ("ingest", int(which)):
                return [camera(), ingest(ROLLS[which])]
        raise AssertionError(told)


def journal(steps: Sequence[tuple[int, tuple[object, ...]]]) -> list[Entry]:
    """Every entry of two writers who now and then take in what the other has written."""
    writers = (Writer("w1"), Writer("w2"))
    written = []
    for who, told in steps:
        if told == ("learn",):
            known = {each.id for each in writers[who].held}
            writers[who].held += [each for each in writers[1 - who].held if each.id not in known]
        else:
            written.append(writers[who].write(told))
    return written


def applied(entries: Sequence[Entry], source: random.Random, *, twice: bool) -> Catalogue:
    """A catalogue that took the entries in, shuffled and cut to chunks of any size."""
    order = list(entries) * (2 if twice else 1)
    source.shuffle(order)
    catalogue = memory_catalogue()
    catalogue.apply([])
    while order:
        size = source.randint(1, len(order))
        catalogue.apply(order[:size])
        order = order[size:]
    return catalogue


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(step, max_size=24), st.integers(0, 2**32))
def test_entries_of_two_writers_give_one_catalogue_in_any_order_and_again(
    steps: list[tuple[int, tuple[object, ...]]], seed: int
) -> None:
    entries = journal(steps)
    source = random.Random(seed)
    straight = memory_catalogue()
    straight.apply(entries)
    wanted = straight.dump()
    assert wanted["fault"] == []
    assert len(wanted["entry"]) == len({each.id for each in entries})
    for twice in (False, True):
        shuffled = applied(entries, source, twice=twice)
        assert shuffled.dump() == wanted
        shuffled.close()
    fold = Fold(entries)
    registers = {key: held.value for key, held in fold.registers.items() if key[1] not in ("ingest",)}
    for (subject, layer, line), value in registers.items():
        assert straight.stated(subject, layer, line) == value
    assert len(wanted["statement"]) == len(registers)
    found = standings(straight, [frame_id(number) for number in FRAMES])
    for frame, standing in found.items():
        assert list(standing.own) == fold.current(frame, OWN)
        assert list(standing.shared) == fold.current(frame, SHARED)
    straight.close()


@settings(max_examples=80, deadline=None)
@given(st.lists(step, max_size=30), st.randoms(use_true_random=False))
def test_the_fold_of_a_journal_is_free_of_order_and_repetition(
    steps: list[tuple[int, tuple[object, ...]]], source: random.Random
) -> None:
    entries = journal(steps)
    wanted = Fold(entries)
    order = entries * 2
    source.shuffle(order)
    again = Fold(order)
    assert again.registers == wanted.registers
    assert again.versions == wanted.versions


@settings(max_examples=40, deadline=None)
@given(st.lists(step, max_size=30))
def test_a_writer_who_has_heard_everything_leaves_no_recipe_contested(
    steps: list[tuple[int, tuple[object, ...]]],
) -> None:
    entries = journal(steps)
    both = Writer("w3", held=list(entries))
    settled = [both.write(("own", number, 0.5, False)) for number in FRAMES]
    fold = Fold([*entries, *settled])
    for number, last in zip(FRAMES, settled, strict=True):
        assert [each.entry for each in fold.current(frame_id(number), OWN)] == [last.id]
