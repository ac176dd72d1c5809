from __future__ import annotations

from archive.views.sparkline import BARS, mean, sparkline


def test_eight_heights_run_from_the_least_to_the_greatest() -> None:
    assert sparkline([0, 1, 2, 3, 4, 5, 6, 7], 40) == BARS
    assert sparkline([7, 0, 7], 40) == "█▁█"


def test_gaps_are_blank_and_even_values_are_low() -> None:
    assert sparkline([1.0, None, 3.0], 10) == "▁ █"
    assert sparkline([2.0, 2.0], 10) == "▁▁"
    assert sparkline([None, None], 10) == "  "
    assert sparkline([], 10) == ""


def test_long_rows_are_told_in_means_of_their_parts() -> None:
    assert sparkline([0, 2, 4, 6, None, 8, None, None], 4) == "▁▅█ "
    assert len(sparkline([float(n) for n in range(450)], 40)) == 40
    assert mean([1.0, None, 2.0]) == 1.5
    assert mean([None]) is None
