from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from archive.model.place import ClockCorrection
from archive.views.clocks import correction_in_words

READS = datetime(2026, 3, 18, 21, tzinfo=UTC)
SLOW = ClockCorrection(reads=READS, true=READS + timedelta(seconds=72))


def test_a_correction_says_what_it_adds_to_what_and_how_it_grows() -> None:
    assert correction_in_words(SLOW) == "+72.0 s are added to what its clock reads."
    spanned = replace(SLOW, since=READS, until=READS + timedelta(days=1), drift=-1.5)
    assert correction_in_words(spanned) == (
        "+72.0 s are added to what its clock reads from 2026-03-18 21:00:00 UTC on "
        "up to 2026-03-19 21:00:00 UTC; "
        "it loses 1.5 s a day, counted from 2026-03-18 21:00:00 UTC."
    )
    assert "it gains 2 s a day" in correction_in_words(replace(SLOW, drift=2))
    assert correction_in_words(SLOW, off=True) == "+72.0 s are no longer added to what its clock reads."
