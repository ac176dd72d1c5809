"""The words of the sky."""

from __future__ import annotations

from datetime import date

from archive.model.place import Site
from archive.model.sky import Light
from archive.nights.sky import night_sky


def test_the_middle_of_a_night_is_half_way_from_noon_to_noon() -> None:
    here = Site(id="s", name="S", latitude=50, longitude=15, elevation_m=0, zone="UTC")
    sky = night_sky(here, date(2026, 3, 18))
    assert sky.middle - sky.begins == sky.ends - sky.middle


def test_lights_are_named_as_in_almanacs() -> None:
    assert [str(light) for light in Light] == [
        "day",
        "civil twilight",
        "nautical twilight",
        "astronomical twilight",
        "night",
    ]
