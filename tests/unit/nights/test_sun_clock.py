from __future__ import annotations

from datetime import UTC, datetime

import pytest
from support.skycurves import RIVER_BEND, curve, dusk

from archive.model.clocks import Sureness
from archive.nights.sun_clock import illuminance, sun_span

EVENING = datetime(2026, 3, 18, 16, 30, tzinfo=UTC)
"""The sun stands at 3° over the river bend; an hour and a half later at -5°."""
DARK = datetime(2026, 3, 18, 21, 30, tzinfo=UTC)


@pytest.mark.parametrize(("altitude", "lux"), [(-0.833, 450), (-6, 3.4), (-12, 0.0081), (-18, 0.00065)])
def test_twilight_has_the_light_that_is_published_for_its_limits(altitude: float, lux: float) -> None:
    # 450 lx at sunset, 3.4 and 0.008 at the ends of civil and nautical twilight: from memory.
    assert illuminance(altitude) == pytest.approx(lux, rel=0.05)


@pytest.mark.parametrize("limit", [20, 5, -0.8, -5, -12])
def test_the_light_has_no_steps_where_its_formulas_meet(limit: float) -> None:
    assert illuminance(limit - 1e-9) == pytest.approx(illuminance(limit), rel=0.015)


def test_night_and_noon_are_bounds() -> None:
    assert illuminance(-40) == illuminance(-18) == pytest.approx(0.00065, rel=0.05)
    assert illuminance(90) == pytest.approx(129_000, rel=0.02)


@pytest.mark.parametrize("slow", [3600, -3600, 7200])
@pytest.mark.parametrize("level", [0.0, -1.5])
def test_a_clock_that_is_hours_wrong_is_found_by_a_dusk(slow: int, level: float) -> None:
    points = curve(dusk(RIVER_BEND, level=level), begin=EVENING, count=120, cadence_s=60, slow_s=slow)
    span = sun_span(points, RIVER_BEND)
    assert span.sureness == Sureness.SURE
    assert not span.right
    assert span.low is not None and span.high is not None
    assert span.low <= slow <= span.high
    assert span.high - span.low <= 3600


@pytest.mark.parametrize("slow", [0, 72])
def test_minutes_are_beyond_a_dusk_and_such_a_clock_is_right(slow: int) -> None:
    span = sun_span(curve(dusk(RIVER_BEND), begin=EVENING, count=120, cadence_s=60, slow_s=slow), RIVER_BEND)
    assert span.right
    assert span.sureness == Sureness.LIKELY


def test_frames_of_a_dark_hour_tell_nothing_and_say_why() -> None:
    span = sun_span(curve(dusk(RIVER_BEND), begin=DARK, count=90, cadence_s=20), RIVER_BEND)
    assert span.sureness == Sureness.UNTOLD
    assert span.reason == "its frames saw neither dusk nor dawn"
    assert sun_span([], RIVER_BEND).reason == "no frame was measured"


def test_dark_frames_by_day_bound_the_error_from_one_side_at_least() -> None:
    by_day = curve(dusk(RIVER_BEND), begin=DARK, count=90, cadence_s=20, slow_s=6 * 3600)
    span = sun_span(by_day, RIVER_BEND)
    assert span.sureness == Sureness.SURE
    assert span.low is not None and 2 * 3600 < span.low <= 6 * 3600


def test_settings_that_are_not_recorded_make_it_less_certain() -> None:
    points = curve(dusk(RIVER_BEND, level=-5), begin=EVENING, count=60, cadence_s=60)
    known, unknown = sun_span(points, RIVER_BEND), sun_span(points, RIVER_BEND, exact=False)
    assert not known.right
    assert unknown.right


def test_light_that_is_like_no_sky_is_not_explained_by_a_clock() -> None:
    lamps = curve(lambda at: -2.0 if at % 1800 < 900 else 6.0, begin=DARK, count=300, cadence_s=60)
    span = sun_span(lamps, RIVER_BEND)
    assert span.sureness == Sureness.UNTOLD
    assert "like no dusk" in span.reason
