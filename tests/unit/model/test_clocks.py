from __future__ import annotations

import pytest

from archive.model.clocks import PairCheck, Shift, SunSpan, Sureness, as_clocks


def test_a_clock_is_right_where_no_shift_is_among_those_that_fit() -> None:
    assert SunSpan(sureness=Sureness.LIKELY, best=300, low=-600, high=900).right
    assert not SunSpan(sureness=Sureness.SURE, best=3600, low=2700, high=4500).right
    assert not SunSpan(sureness=Sureness.UNTOLD, reason="its site is not known").right


@pytest.mark.parametrize(
    ("seconds", "deviation", "error", "sureness", "apart"),
    [
        (88.0, 4.0, 30.0, Sureness.SURE, True),
        (45.0, 4.0, 30.0, Sureness.LIKELY, True),
        (16.0, 1.0, 30.0, Sureness.LIKELY, False),
        (-88.0, 25.0, 50.0, Sureness.LIKELY, True),
        (3600.0, 25.0, 50.0, Sureness.SURE, True),
    ],
)
def test_no_clock_is_told_more_exactly_than_cameras_that_look_elsewhere_agree(
    seconds: float, deviation: float, error: float, sureness: Sureness, apart: bool
) -> None:
    """88 s, ± 4 s and sure, was told of a clock that was 72 s slow."""
    told = as_clocks(Shift(sureness=Sureness.SURE, seconds=seconds, error=deviation, fit=0.9))
    assert (told.seconds, told.error, told.sureness) == (seconds, error, sureness)
    assert PairCheck(first="north", second="river", shift=told).apart == apart


def test_a_likely_shift_does_not_become_sure_and_an_untold_one_stays_so() -> None:
    likely = as_clocks(Shift(sureness=Sureness.LIKELY, seconds=3600, error=1, fit=0.5))
    assert likely.sureness == Sureness.LIKELY
    untold = Shift(sureness=Sureness.UNTOLD, reason="the sky did not change")
    assert as_clocks(untold) == untold
