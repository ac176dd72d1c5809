"""Stars where an almanac has them, turning once a sidereal day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import ephem
import numpy as np
import pytest

from archive.demo import sky
from archive.demo.night import SITE
from archive.engine import colour

MOMENT = datetime(2026, 3, 18, 21, 40, tzinfo=UTC)


def observer() -> ephem.Observer:
    place = ephem.Observer()
    place.lat, place.lon, place.pressure = str(SITE.latitude), str(SITE.longitude), 0
    place.date = MOMENT.strftime("%Y/%m/%d %H:%M:%S")
    return place


def test_sidereal_time_agrees_with_an_almanac() -> None:
    ours = sky.sidereal_angle(MOMENT, SITE.longitude)
    assert ours == pytest.approx(float(observer().sidereal_time()), abs=1e-4)


@pytest.mark.parametrize("name", ["Vega", "Deneb", "Capella", "Schedar", "Dubhe", "Polaris"])
def test_bright_stars_stand_where_an_almanac_has_them(name: str) -> None:
    star = ephem.star(name)
    star.compute(observer())
    wanted = np.array(
        [np.cos(star.alt) * np.sin(star.az), np.cos(star.alt) * np.cos(star.az), np.sin(star.alt)]
    )
    ours = sky.horizontal(
        np.radians(sky._BRIGHT[:, 0] * 15), np.radians(sky._BRIGHT[:, 1]),
        sky.sidereal_angle(MOMENT, SITE.longitude), np.radians(SITE.latitude),
    )  # fmt: skip
    # Precession since 2000 alone is 0.36 degrees.
    assert np.degrees(np.arccos((wanted @ ours).max())) < 0.5


def test_the_sky_is_the_same_after_a_sidereal_day_and_not_after_an_hour() -> None:
    day = timedelta(seconds=86164.0905)
    now = sky.sidereal_angle(MOMENT, SITE.longitude)
    assert sky.sidereal_angle(MOMENT + day, SITE.longitude) == pytest.approx(now, abs=1e-6)
    later = sky.sidereal_angle(MOMENT + timedelta(hours=1), SITE.longitude)
    assert later - now == pytest.approx(np.radians(15.041), abs=1e-4)


def test_stars_drift_between_frames_and_the_faint_ones_are_many() -> None:
    heavens = sky.Heavens(320, 200, 0.9, -9.0, SITE.latitude, 3)
    pictures = []
    for minutes in (0, 10):
        picture = np.zeros((200, 320, 3), np.float32)
        angle = sky.sidereal_angle(MOMENT + timedelta(minutes=minutes), SITE.longitude)
        heavens.add_stars(picture, angle, 0.0)
        pictures.append(picture[..., 1])
    assert (pictures[0] > 0.002).sum() > 200
    bright = [set(np.flatnonzero(picture.ravel() > 0.05)) for picture in pictures]
    assert bright[0] and len(bright[0] & bright[1]) < 0.6 * len(bright[0])


def test_the_background_is_bluish_high_up_and_the_town_is_warm_and_low() -> None:
    heavens = sky.Heavens(320, 200, 0.9, -9.0, SITE.latitude, 3)
    light = heavens.background(320, 200, sky.sidereal_angle(MOMENT, SITE.longitude))
    assert light.min() > 0
    high = light[:20].mean(axis=(0, 1))
    assert high[2] > high[0]
    town = light[-8:, -40:].mean(axis=(0, 1)) - light[-8:, :40].mean(axis=(0, 1))
    assert town[0] > 1.3 * town[2] > 0


def test_a_moving_light_is_drawn_where_it_is() -> None:
    heavens = sky.Heavens(320, 200, 0.9, -9.0, SITE.latitude, 3)
    picture = np.zeros((200, 320, 3), np.float32)
    heavens.add_points(picture, np.array([[0.0, 0.5, 1.0, 1.0, 1.0]]))
    row, column = np.unravel_index(picture[..., 1].argmax(), picture.shape[:2])
    assert abs(column - 159.5) <= 1
    assert abs(row - (200 - 0.5 * 320 / 1.8 - 0.5)) <= 1


@pytest.mark.parametrize(
    ("kelvin", "x", "y"), [(4000, 0.3805, 0.3768), (5000, 0.3451, 0.3516), (10000, 0.2807, 0.2884)]
)
def test_stars_lie_on_the_planckian_locus(kelvin: float, x: float, y: float) -> None:
    # Chromaticities of black bodies in CIE 1931 x, y (Wyszecki and Stiles 1982, from memory).
    index = np.linspace(-0.3, 1.9, 2000)
    here = index[np.abs(sky.star_kelvin(index) - kelvin).argmin()]
    rgb = sky.star_colours(np.array([here]))[0]
    xyz = colour.SRGB_TO_XYZ @ rgb
    assert xyz[0] / xyz.sum() == pytest.approx(x, abs=0.003)
    assert xyz[1] / xyz.sum() == pytest.approx(y, abs=0.003)
    assert rgb[1] == pytest.approx(1)


def test_a_star_like_the_sun_has_the_temperature_of_the_sun() -> None:
    # B-V 0.65 (sun), 0.00 (Vega, 9600 K), 1.23 (Arcturus, 4290 K); Ballesteros 2012.
    assert sky.star_kelvin(np.array([0.65, 0.0, 1.23])) == pytest.approx([5780, 9600, 4290], rel=0.07)


def test_star_counts_follow_the_published_table() -> None:
    # Stars brighter than V = 5, 6, 7, 8, 9 in the whole sky (Allen's Astrophysical Quantities, from memory).
    for magnitude, count in ((5, 1620), (6, 4850), (7, 14_300), (8, 41_000), (9, 117_000)):
        assert sky.star_count(magnitude) == pytest.approx(count, rel=0.25)


def test_faint_stars_crowd_along_the_galaxy_s_plane() -> None:
    ascension, declination = sky._scattered(20_000, np.random.Generator(np.random.PCG64(1)))
    sine, _ = sky.galactic(ascension, declination)
    low, high = (np.abs(sine) < 0.1).mean() / 0.1, (np.abs(sine) > 0.8).mean() / 0.2
    assert 2 < low / high < 4


def test_the_galactic_pole_and_centre_are_where_the_union_put_them() -> None:
    # IAU 1958, for J2000: pole 12h 51.4m +27.13°, centre 17h 45.6m -28.94°.
    sine, _ = sky.galactic(np.radians([192.86, 266.405]), np.radians([27.13, -28.936]))
    assert sine == pytest.approx([1, 0], abs=1e-3)
    _, longitude = sky.galactic(np.radians([266.405]), np.radians([-28.936]))
    assert np.cos(longitude[0]) == pytest.approx(1, abs=1e-3)
