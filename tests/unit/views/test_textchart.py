"""Curves as text: within their columns, at the right heights."""

from __future__ import annotations

import pytest

from archive.views.textchart import Curve, draw


def rows_of(lines: list[str], height: int) -> list[str]:
    return [line.partition("│")[2] for line in lines[:height]]


def test_a_rising_curve_runs_from_the_lower_left_to_the_upper_right() -> None:
    lines = draw(Curve(values=[0.0, 1.0]), [0, 1], ends=("21:00", "22:00 CET"), width=40, height=4)
    rows = rows_of(lines, 4)
    first = [len(row) - len(row.lstrip()) for row in rows]
    assert first == sorted(first, reverse=True)
    assert lines[0].startswith("1.00 │")
    assert lines[3].startswith("0.00 │")
    assert lines[-1].endswith("22:00 CET")
    assert "21:00" in lines[-1]


@pytest.mark.parametrize("width", [40, 78])
def test_no_line_is_wider_than_it_may_be(width: int) -> None:
    values = [4800.123 - n for n in range(200)]
    lines = draw(Curve(values=values, marks=[0, 199]), list(range(200)), ends=("a", "b"), width=width)
    assert max(map(len, lines)) <= width
    assert lines[-2].count("▲") == 2
    assert lines[-2].endswith("▲")


def test_gaps_stay_open_and_a_flat_curve_lies_in_the_middle() -> None:
    values = [1.0] * 20 + [None] * 20 + [1.0] * 20
    lines = draw(Curve(values=values), list(range(60)), ends=("a", "b"), width=70, height=5)
    rows = rows_of(lines, 5)
    assert [bool(row) for row in rows] == [False, False, True, False, False]
    assert "  " * 5 in rows[2]
    assert lines[2].startswith("1.00 │")


def test_negative_values_have_true_minus_signs_and_nothing_draws_nothing() -> None:
    lines = draw(Curve(values=[-0.5, 0.05]), [0, 1], ends=("a", "b"))
    assert lines[5].startswith("−0.50 │")
    assert lines[0].startswith(" 0.05 │")
    assert draw(Curve(values=[None, None]), [0, 1], ends=("a", "b")) == []
