"""Tables of gains."""

import numpy as np
import pytest

from archive.engine import colour, curves
from archive.engine.operators.tone import Contrast, HighlightRecovery, ShadowLift

STOPS = np.arange(curves.LOWEST, curves.HIGHEST + 0.5 / curves.PER_STOP, 1 / curves.PER_STOP)


def at(table: curves.Table, stops: float) -> float:
    return float(np.log2(table[round((stops - curves.LOWEST) * curves.PER_STOP)]))


@pytest.mark.parametrize("lift", [-3.0, -1.0, 0.5, 2.0, 4.0])
@pytest.mark.parametrize("recovery", [0.0, 1.0, 3.0])
def test_tones_never_change_order(lift: float, recovery: float) -> None:
    table = curves.regional_gain(ShadowLift(stops=lift), HighlightRecovery(stops=recovery), 3.0)
    assert (np.diff(STOPS + np.log2(table.astype(np.float64))) > 0).all()


def test_shadows_are_lifted_by_what_was_asked_and_half_at_their_reach() -> None:
    table = curves.regional_gain(ShadowLift(stops=2.0, reach=5.0), None, 1.0)
    assert at(table, -14) == pytest.approx(2, abs=1e-4)
    assert at(table, -5) == pytest.approx(1, abs=1e-4)
    assert at(table, 0) == pytest.approx(0, abs=1e-4)


def test_highlights_are_lowered_and_shadows_left_alone() -> None:
    table = curves.regional_gain(None, HighlightRecovery(stops=1.0), 1.5)
    assert at(table, 2) == pytest.approx(-1, abs=1e-4)
    assert at(table, -4) == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize("headroom", [-1.0, 0.0, 0.5, 2.0])
def test_what_clipped_on_the_sensor_stays_white(headroom: float) -> None:
    table = curves.regional_gain(None, HighlightRecovery(stops=3.0), headroom)
    lowered = at(table, max(headroom, 0))
    assert lowered == pytest.approx(-max(headroom, 0), abs=1e-4)


@pytest.mark.parametrize("amount", [-0.8, -0.2, 0.2, 0.8])
@pytest.mark.parametrize("pivot", [-8.0, -3.0, -0.5])
def test_contrast_is_steeper_at_the_pivot_keeps_clipping_and_order(amount: float, pivot: float) -> None:
    table = curves.contrast_gain(Contrast(amount=amount, pivot=pivot))
    curve = STOPS + np.log2(table.astype(np.float64))
    assert (np.diff(curve) > 0).all()
    assert at(table, pivot) == pytest.approx(0, abs=1e-5)
    assert at(table, 0) == pytest.approx(0, abs=1e-5)
    place = round((pivot - curves.LOWEST) * curves.PER_STOP)
    slope = (curve[place] - curve[place - 1]) * curves.PER_STOP
    assert slope == pytest.approx(1 + amount, abs=0.02)


def test_corners_gain_what_was_asked_and_the_centre_nothing() -> None:
    table = curves.corner_gain(1.5, 2.0)
    assert table[0] == 1
    assert np.log2(table[-1]) == pytest.approx(1.5, abs=1e-5)
    assert np.log2(table[512]) == pytest.approx(0.75, abs=1e-3)


def test_the_display_table_is_srgb_to_a_tenth_of_a_16_bit_step() -> None:
    table = curves.display_table().astype(np.float64)
    light = np.random.default_rng(1).uniform(0, 1, 20000) ** 3
    place = np.sqrt(light) * (len(table) - 1)
    error = np.interp(place, np.arange(len(table)), table) - colour.srgb_encode(light)
    assert np.abs(error).max() < 0.4 / 65535
