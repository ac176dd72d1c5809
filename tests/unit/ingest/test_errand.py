"""One file to bring, and the grade that counts for several."""

from __future__ import annotations

import pytest

from archive.ingest.errand import Errand, weaker, weakest
from archive.model.identity import FrameId
from archive.store.ports import Grade

DIGEST = FrameId("xxh128:" + "0" * 32)


def errand() -> Errand:
    return Errand(source=None, name="A", target="masters/A", size=1, modified_ns=0, wanted=frozenset("v"))


def test_an_errand_is_sound_once_read_without_fault_and_without_clash() -> None:
    made = errand()
    assert not made.sound
    made.digest = DIGEST
    assert made.sound
    made.clash.append("RED")
    assert not made.sound
    made.clash.clear()
    made.fault = "cannot be read"
    assert not made.sound


def test_two_errands_alike_are_still_two() -> None:
    assert errand() != errand()
    assert len({errand(), errand()}) == 2


@pytest.mark.parametrize(
    ("one", "other", "least"),
    [
        (None, Grade.DIRECT, Grade.DIRECT),
        (Grade.DIRECT, Grade.CACHED, Grade.CACHED),
        (Grade.EVICTED, Grade.DIRECT, Grade.EVICTED),
        (Grade.CACHED, Grade.EVICTED, Grade.CACHED),
    ],
)
def test_the_weaker_grade_counts(one: Grade | None, other: Grade, least: Grade) -> None:
    assert weaker(one, other) is least
    assert weakest([grade for grade in (one, other) if grade]) is least


def test_of_no_grades_none_is_the_weakest() -> None:
    assert weakest([]) is None
