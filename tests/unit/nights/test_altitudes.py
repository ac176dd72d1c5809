"""Interpolated altitudes against those computed for each moment."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from archive.model.place import Site
from archive.nights.altitudes import Altitudes
from archive.nights.sky import moon_altitude, sun_altitude


@pytest.mark.parametrize("latitude", [-77.8, 0.0, 69.1, 90.0])
def test_between_knots_sun_and_moon_stand_where_they_are_computed_to_be(latitude: float) -> None:
    site = Site(id="site:x", name="X", latitude=latitude, longitude=20.4, elevation_m=120, zone="UTC")
    altitudes = Altitudes(site)
    moment = datetime(2026, 3, 18, 15, 0, 7, tzinfo=UTC)
    for _ in range(300):
        sun, moon = altitudes.at(moment)
        for found, computed in ((sun, sun_altitude(site, moment)), (moon, moon_altitude(site, moment))):
            assert found == pytest.approx(computed, abs=1e-3 if abs(computed) < 80 else 0.03)
        moment += timedelta(seconds=211.3)


def test_moments_before_1970_are_moments_too() -> None:
    site = Site(id="site:x", name="X", latitude=69.1, longitude=20.4, elevation_m=0, zone="UTC")
    moment = datetime(1969, 12, 31, 23, 59, 0, tzinfo=UTC)
    assert Altitudes(site).at(moment)[0] == pytest.approx(sun_altitude(site, moment), abs=1e-3)
