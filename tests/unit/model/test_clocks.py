from __future__ import annotations

from archive.model.clocks import SunSpan, Sureness


def test_a_clock_is_right_where_no_shift_is_among_those_that_fit() -> None:
    assert SunSpan(sureness=Sureness.LIKELY, best=300, low=-600, high=900).right
    assert not SunSpan(sureness=Sureness.SURE, best=3600, low=2700, high=4500).right
    assert not SunSpan(sureness=Sureness.UNTOLD, reason="its site is not known").right
