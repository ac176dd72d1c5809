from __future__ import annotations

import math

import pytest

from archive.nights.crossings import Height, crossings, turns

DAY = 86400.0


def wave(lift: float, noon: float = 0.0) -> Height:
    """A height that is greatest at ``noon`` and moves by 20 either way in a day."""
    return lambda second: lift + 20 * math.cos(2 * math.pi * (second - noon) / DAY)


def test_a_wave_turns_at_its_least_and_greatest() -> None:
    found = turns(wave(0, noon=3600), DAY)
    assert found == [0.0, pytest.approx(3600, abs=1), pytest.approx(3600 + DAY / 2, abs=1), DAY]


def test_a_wave_passes_a_level_where_its_formula_does() -> None:
    height = wave(0)
    turning = turns(height, DAY)
    for level in (0.0, -7.5, 19.9):
        falls = math.acos(level / 20) / (2 * math.pi) * DAY
        (down,) = crossings(height, turning, level, rising=False)
        (up,) = crossings(height, turning, level, rising=True)
        assert (down, up) == (pytest.approx(falls, abs=0.1), pytest.approx(DAY - falls, abs=0.1))


@pytest.mark.parametrize("noon", [5.0, 600.0, DAY / 3, DAY - 600.0, DAY - 5.0])
def test_a_height_that_passes_for_seconds_only_is_found_wherever_it_turns(noon: float) -> None:
    height = wave(0, noon)
    level = 20 * math.cos(2 * math.pi * 4 / DAY)
    turning = turns(height, DAY)
    assert crossings(height, turning, level, rising=True) == [pytest.approx(noon - 4, abs=0.5)]
    assert crossings(height, turning, level, rising=False) == [pytest.approx(noon + 4, abs=0.5)]


def test_a_level_beyond_the_height_is_never_passed() -> None:
    height = wave(0)
    turning = turns(height, DAY)
    for level in (-20.1, 20.1):
        assert crossings(height, turning, level, rising=True) == []
        assert crossings(height, turning, level, rising=False) == []
