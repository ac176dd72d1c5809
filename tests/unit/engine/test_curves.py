"""Tables of gains."""

import numpy as np
import pytest
from support.plain import curves as plain

from archive.engine import colour, curves
from archive.engine.operators.tone import Contrast, HighlightCompression, HighlightRecovery, ShadowLift

STOPS = np.arange(curves.LOWEST, curves.HIGHEST + 0.5 / curves.PER_STOP, 1 / curves.PER_STOP)


LIFTS = (
    None,
    *(ShadowLift(stops=stops, reach=reach) for stops, reach in ((-3, 2), (0.5, 5), (4, 9), (4, 2))),
)
RECOVERIES = (None, *(HighlightRecovery(stops=stops) for stops in (0.1, 1.4, 3.0)))
COMPRESSIONS = (
    None,
    *(HighlightCompression(stops=stops, reach=reach) for stops, reach in ((0.1, 8), (1, 4), (3, 1.5))),
)


def at(table: curves.Table, stops: float) -> float:
    return float(table[round((stops - curves.LOWEST) * curves.PER_STOP)])


@pytest.mark.parametrize("headroom", [-8.0, -1.5, 0.0, 0.7, 4.0])
@pytest.mark.parametrize("lift", LIFTS)
@pytest.mark.parametrize("recovery", RECOVERIES)
@pytest.mark.parametrize("compression", COMPRESSIONS)
def test_what_regions_gain_is_what_plain_arithmetic_makes(
    lift: ShadowLift | None, recovery: HighlightRecovery | None, compression: HighlightCompression | None,
    headroom: float,
) -> None:  # fmt: skip
    """To a millionth of a stop, to which tables are rounded, and the last bit of float32 up to 4."""
    made = curves.regional_stops(lift, recovery, compression, headroom)
    assert np.abs(made - plain.regional(lift, recovery, compression, headroom)).max() < 1e-6


@pytest.mark.parametrize("amount", [-0.8, -0.1, 0.02, 0.8])
@pytest.mark.parametrize("pivot", [-8.0, -3.0, -0.5])
def test_contrast_is_what_plain_arithmetic_makes(amount: float, pivot: float) -> None:
    """To a millionth of a stop, to which tables are rounded, and the last bit of float32 up to 32."""
    step = Contrast(amount=amount, pivot=pivot)
    assert np.abs(curves.contrast_stops(step) - plain.contrasted(step)).max() < 2e-6


@pytest.mark.parametrize("lift", [-3.0, -1.0, 0.5, 2.0, 4.0])
@pytest.mark.parametrize("recovery", [0.0, 1.0, 3.0])
def test_tones_never_change_order(lift: float, recovery: float) -> None:
    table = curves.regional_stops(
        ShadowLift(stops=lift), HighlightRecovery(stops=recovery), HighlightCompression(stops=recovery), 3.0
    )
    assert (np.diff(STOPS + table.astype(np.float64)) > 0).all()


def test_shadows_are_lifted_by_what_was_asked_and_half_at_their_reach() -> None:
    table = curves.regional_stops(ShadowLift(stops=2.0, reach=5.0), None, None, 1.0)
    assert at(table, -14) == pytest.approx(2, abs=1e-4)
    assert at(table, -5) == pytest.approx(1, abs=1e-4)
    assert at(table, 0) == pytest.approx(0, abs=1e-4)


def test_highlights_are_lowered_and_shadows_left_alone() -> None:
    table = curves.regional_stops(None, HighlightRecovery(stops=1.0), None, 1.5)
    assert at(table, 2) == pytest.approx(-1, abs=1e-4)
    assert at(table, -4) == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize("headroom", [-1.0, 0.0, 0.5, 2.0])
def test_what_clipped_on_the_sensor_stays_white(headroom: float) -> None:
    table = curves.regional_stops(None, HighlightRecovery(stops=3.0), None, headroom)
    lowered = at(table, max(headroom, 0))
    assert lowered == pytest.approx(-max(headroom, 0), abs=1e-4)


@pytest.mark.parametrize("amount", [-0.8, -0.2, 0.2, 0.8])
@pytest.mark.parametrize("pivot", [-8.0, -3.0, -0.5])
def test_contrast_is_steeper_at_the_pivot_keeps_clipping_and_order(amount: float, pivot: float) -> None:
    table = curves.contrast_stops(Contrast(amount=amount, pivot=pivot))
    curve = STOPS + table.astype(np.float64)
    assert (np.diff(curve) > 0).all()
    assert at(table, pivot) == pytest.approx(0, abs=1e-5)
    assert at(table, 0) == pytest.approx(0, abs=1e-5)
    place = round((pivot - curves.LOWEST) * curves.PER_STOP)
    slope = (curve[place] - curve[place - 1]) * curves.PER_STOP
    assert slope == pytest.approx(1 + amount, abs=0.02)


def test_compression_lowers_the_brightest_by_what_was_asked_and_starts_gently() -> None:
    table = curves.regional_stops(None, None, HighlightCompression(stops=1.0, reach=4.0), 1.0)
    assert at(table, 1) == pytest.approx(-1, abs=1e-4)
    assert at(table, -4) == pytest.approx(0, abs=1e-5)
    assert at(table, -3.5) == pytest.approx(-0.01, abs=1e-4)
    assert at(table, -1.5) == pytest.approx(-0.25, abs=1e-4)


@pytest.mark.parametrize("reach", [1.5, 4.0, 8.0])
@pytest.mark.parametrize("headroom", [-2.0, 0.0, 0.5, 4.0])
def test_compression_takes_more_off_brighter_tones_so_that_nowhere_they_move_apart(
    headroom: float, reach: float
) -> None:
    weaker = np.zeros(len(STOPS))
    for stops in (0.1, 0.5, 1.0, 2.0, 3.0):
        step = HighlightCompression(stops=stops, reach=reach)
        table = curves.regional_stops(None, None, step, headroom).astype(np.float64)
        assert (np.diff(table) < 1e-6).all()
        assert (np.diff(STOPS + table) > 0.14 / curves.PER_STOP).all()
        assert (table <= weaker + 1e-6).all()
        weaker = table


@pytest.mark.parametrize(
    ("stops", "headroom", "lowered"),
    [(0.5, 1.0, 0.5), (1.0, 1.0, 1.0), (0.1, 0.0, 0.1 / 1.1), (1.0, 0.0, 0.5), (3.0, 0.0, 0.75),
     (3.0, 1.0, 1 + 2 / 3), (3.0, -1.0, 0.75)],
)  # fmt: skip
def test_compression_lowers_clipped_light_less_and_less_below_white(
    stops: float, headroom: float, lowered: float
) -> None:
    table = curves.regional_stops(None, None, HighlightCompression(stops=stops, reach=5.0), headroom)
    assert at(table, headroom) == pytest.approx(-lowered, abs=1e-4)


def test_what_recovery_lowers_is_no_room_for_compression() -> None:
    recovery, compression = HighlightRecovery(stops=1.0), HighlightCompression(stops=2.0, reach=6.0)
    table = curves.regional_stops(None, recovery, compression, 1.5)
    assert at(table, 1.5) == pytest.approx(-(1.0 + 0.5 + 1.5 / 2.5), abs=1e-4)


def test_the_display_table_is_srgb_to_a_tenth_of_a_16_bit_step() -> None:
    table = curves.display_table().astype(np.float64)
    light = np.random.default_rng(1).uniform(0, 1, 20000) ** 3
    place = np.sqrt(light) * (len(table) - 1)
    error = np.interp(place, np.arange(len(table)), table) / 65535 - colour.srgb_encode(light)
    assert np.abs(error).max() < 0.2 / 65535
