"""How light it was at each frame."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from archive.model.place import Site
from archive.model.sky import Light
from archive.nights.light import frame_skies, light_at
from archive.nights.sky import moon_altitude, moon_lit, night_sky, sun_altitude


def site(latitude: float, longitude: float) -> Site:
    return Site(id="s", name="S", latitude=latitude, longitude=longitude, elevation_m=0, zone="UTC")


def test_the_light_changes_at_the_moments_of_dusk_and_dawn() -> None:
    here = site(50, 20)
    sky = night_sky(here, date(2026, 3, 18))
    after = [
        (sky.sun.dusk, Light.DAY, Light.CIVIL),
        (sky.civil.dusk, Light.CIVIL, Light.NAUTICAL),
        (sky.nautical.dusk, Light.NAUTICAL, Light.ASTRONOMICAL),
        (sky.astronomical.dusk, Light.ASTRONOMICAL, Light.NIGHT),
        (sky.sun.dawn, Light.CIVIL, Light.DAY),
    ]
    for moment, before, behind in after:
        assert moment is not None
        told = frame_skies(here, [moment - timedelta(seconds=3), moment + timedelta(seconds=3)])
        assert [each.light for each in told] == [before, behind]


def test_instants_of_several_nights_each_have_their_own_sky() -> None:
    here = site(69.65, 18.96)
    moments = [datetime(2026, 3, day, hour, tzinfo=UTC) for day in (18, 20) for hour in (3, 23)]
    for moment, told in zip(moments, frame_skies(here, moments), strict=True):
        assert told.sun_altitude == pytest.approx(sun_altitude(here, moment), abs=0.002)
        assert told.moon_altitude == pytest.approx(moon_altitude(here, moment), abs=0.002)
        assert told.moon_lit == pytest.approx(moon_lit(moment), abs=1e-4)


# The limits of the US Naval Observatory.
@pytest.mark.parametrize(
    ("sun", "light"),
    [
        (10, Light.DAY),
        (-0.8333, Light.DAY),
        (-0.84, Light.CIVIL),
        (-6.01, Light.NAUTICAL),
        (-12.01, Light.ASTRONOMICAL),
        (-18.01, Light.NIGHT),
    ],
)
def test_the_limits_of_the_twilights_are_those_of_the_almanacs(sun: float, light: Light) -> None:
    assert light_at(sun) is light
