from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from rich.console import Console

from archive.model.clocks import ClockCheck, ClockSuggestion, PairCheck, Shift, SunCheck, SunSpan, Sureness
from archive.model.place import ClockCorrection
from archive.views.clocks import correction_in_words, pair_in_words, sun_in_words, tell_clock_check
from archive.views.report import Report

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


def pair(**given: object) -> PairCheck:
    shift = replace(Shift(sureness=Sureness.SURE, seconds=72.4, error=30.0, fit=0.88), **given)  # type: ignore[arg-type]
    return PairCheck(first="north", second="river", shift=shift)


def said(told: ClockCheck, width: int = 200) -> str:
    console = Console(width=width, record=True, file=io.StringIO())
    tell_clock_check(Report(console), told)
    return console.export_text()


def test_two_clocks_are_told_with_their_error_and_how_sure_it_is() -> None:
    assert pair_in_words(pair()) == (
        "north and river: river is 72 s behind north, ± 30 s, sure (their skies fit by 0.88)."
    )
    assert "river is 72 s ahead of north" in pair_in_words(pair(seconds=-72.4))
    assert pair_in_words(pair(seconds=16.2)) == (
        "north and river: river is 16 s behind north, ± 30 s, sure (their skies fit by 0.88): "
        "no more than looking elsewhere may explain."
    )
    untold = pair(sureness=Sureness.UNTOLD, seconds=None, error=None, reason="the sky did not change")
    assert pair_in_words(untold) == "north and river: cannot be told: the sky did not change."


def test_the_sun_tells_a_span_and_never_a_second() -> None:
    wrong = SunSpan(sureness=Sureness.SURE, best=3600, low=2700, high=4500)
    assert sun_in_words(wrong) == "sure to be wrong; it fits with +45.0 min to +75.0 min added"
    right = SunSpan(sureness=Sureness.LIKELY, best=0, low=-600, high=900)
    assert sun_in_words(right) == "right, as far as dusk and dawn tell; −10.0 min to +15.0 min would fit too"
    assert sun_in_words(SunSpan(sureness=Sureness.UNTOLD, reason="no frame was measured")) == (
        "cannot be told: no frame was measured"
    )


def test_a_check_says_what_to_type_or_that_nothing_can_be_told() -> None:
    suggestion = ClockSuggestion(
        camera="river", seconds=72, command="noctuary clock river --reads A --true B", why="because", error=30
    )
    found = ClockCheck(night="2026-03-18", pairs=(pair(),), suns=(), suggestions=(suggestion,), unseen=3)
    text = said(found)
    assert "  noctuary clock river --reads A --true B\n" in text
    assert "adds +72 s, ± 30 s, to river; because" in text
    assert "for an exact correction, photograph a right clock" in text
    by_sun = replace(suggestion, seconds=3600, error=None)
    by_the_sun = said(replace(found, suggestions=(by_sun,)))
    assert "adds +3600 s to river; because" in by_the_sun
    assert "exact correction" not in by_the_sun
    assert "3 frames are not surveyed" in text
    assert "Follow only one" not in text
    assert "Follow only one" in said(replace(found, either=True))
    agreed = replace(found, pairs=(pair(seconds=1.0),), suggestions=())
    assert "Nothing that was found asks for a correction." in said(agreed)
    dark = SunCheck(camera="north", span=SunSpan(sureness=Sureness.UNTOLD, reason="dark"))
    nothing = ClockCheck(night="2026-03-18", pairs=(), suns=(dark,), suggestions=())
    assert "Nothing can be told of the clocks of this night" in said(nothing)


@pytest.mark.parametrize("width", [80, 200])
def test_a_check_can_be_copied_from_any_terminal_because_nothing_of_it_is_cut_or_broken(width: int) -> None:
    command = "noctuary clock river --reads 2026-03-18T22:00:00 --true 2026-03-18T22:01:12"
    suggestion = ClockSuggestion(camera="river", seconds=72, command=command, why="then its sky is north's")
    wrong = SunSpan(sureness=Sureness.SURE, best=3600, low=2700, high=4500)
    suns = (SunCheck(camera="river", span=wrong), SunCheck(camera="north", span=wrong))
    check = ClockCheck(
        night="2026-03-18", pairs=(pair(),), suns=suns, suggestions=(suggestion,), unseen=3, either=True
    )
    lines = said(check, width).splitlines()
    assert f"  {command}" in lines
    assert pair_in_words(pair()) in lines
    assert f"north by the sun: {sun_in_words(wrong)}." in lines
