from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import ephem.tests
import pytest
import skyfield_data
from skyfield import almanac, api

from archive.model.place import Site
from archive.model.sky import Darkness
from archive.nights.sky import moon_altitude, moon_lit, night_sky, sun_altitude

TABLES = Path(ephem.tests.__file__).parent / "usno"


def site(latitude: float, longitude: float, elevation_m: float = 0) -> Site:
    return Site(id="s", name="S", latitude=latitude, longitude=longitude, elevation_m=elevation_m, zone="UTC")


# Source: skyfield 1.55 with the JPL ephemeris DE421, thresholds -0.8333°, -6°, -12°, -18°.
# (latitude, longitude, night, level, dusk, dawn); days are of the evening's month.
SKYFIELD = [
    (50, 20, "2026-06-19", "sun", "19 18:52:27", "20 02:30:28"),
    (50, 20, "2026-06-19", "civil", "19 19:37:06", "20 01:45:48"),
    (50, 20, "2026-06-19", "nautical", "19 20:42:47", "20 00:40:08"),
    (78.22, 15.65, "2026-12-21", "nautical", "21 11:52:44", "22 09:58:34"),
    (78.22, 15.65, "2026-12-21", "astronomical", "21 15:13:52", "22 06:37:29"),
    (69.65, 18.96, "2026-12-21", "civil", "21 12:53:07", "22 08:31:44"),
    (69.65, 18.96, "2026-12-21", "nautical", "21 14:37:40", "22 06:47:12"),
    (69.65, 18.96, "2026-12-21", "astronomical", "21 15:56:03", "22 05:28:49"),
    (-46.41, 168.35, "2026-06-21", "sun", "21 05:05:51", "21 20:30:59"),
    (-46.41, 168.35, "2026-06-21", "civil", "21 05:40:52", "21 19:55:58"),
    (-46.41, 168.35, "2026-06-21", "nautical", "21 06:19:13", "21 19:17:37"),
    (-46.41, 168.35, "2026-06-21", "astronomical", "21 06:55:56", "21 18:40:54"),
    (48, 20, "2026-06-19", "astronomical", "19 22:01:09", "19 23:21:46"),
    (64.84, -147.72, "2026-03-20", "sun", "21 04:07:48", "21 15:46:38"),
    (64.84, -147.72, "2026-03-20", "astronomical", "21 07:07:54", "21 12:47:00"),
]


def near(found: datetime | None, told: str, night: date, seconds: float = 1.0) -> bool:
    day, clock = told.split()
    moment = datetime.strptime(f"{night:%Y-%m}-{day} {clock}", "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    # The source's times are cut to whole seconds, so that half a second later is their middle.
    return found is not None and abs((found - moment).total_seconds() - 0.5) <= seconds


@pytest.mark.parametrize(("latitude", "longitude", "evening", "level", "dusk", "dawn"), SKYFIELD)
def test_dusk_and_dawn_agree_with_an_independent_library_to_the_second(
    latitude: float, longitude: float, evening: str, level: str, dusk: str, dawn: str
) -> None:
    night = date.fromisoformat(evening)
    found: Darkness = getattr(night_sky(site(latitude, longitude), night), level)
    assert near(found.dusk, dusk, night)
    assert near(found.dawn, dawn, night)
    assert found.reason is None


# Source: the same.
@pytest.mark.parametrize(
    ("latitude", "longitude", "evening", "level", "reason"),
    [
        (50, 20, "2026-06-19", "astronomical", "no astronomical night: the sun stays above -18°"),
        (78.22, 15.65, "2026-12-21", "sun", "the sun does not rise"),
        (78.22, 15.65, "2026-12-21", "civil", "civil night at all hours: the sun stays below -6°"),
        (69.65, 18.96, "2026-12-21", "sun", "the sun does not rise"),
        (69.65, 18.96, "2026-06-21", "sun", "the sun does not set"),
        (69.65, 18.96, "2026-06-21", "civil", "no civil night: the sun stays above -6°"),
        (69.65, 18.96, "2026-06-21", "nautical", "no nautical night: the sun stays above -12°"),
        (69.65, 18.96, "2026-06-21", "astronomical", "no astronomical night: the sun stays above -18°"),
    ],
)
def test_a_missing_twilight_says_why(
    latitude: float, longitude: float, evening: str, level: str, reason: str
) -> None:
    found: Darkness = getattr(night_sky(site(latitude, longitude), date.fromisoformat(evening)), level)
    assert found == Darkness(dusk=None, dawn=None, reason=reason)


# Source: skyfield 1.55 with DE421 (of skyfield-data 7.0): the sun rises in these nights, and does not set.
@pytest.mark.parametrize(
    ("latitude", "longitude", "evening", "level", "dawn"),
    [
        (69.65, 18.96, "2027-01-14", "sun", "15 10:35:17"),
        (69.65, 18.96, "2028-01-14", "sun", "15 10:44:07"),
        (78.22, 15.65, "2027-02-15", "sun", "16 10:21:06"),
        (78.22, 15.65, "2027-01-29", "civil", "30 10:37:20"),
        (-74.55, -30.63, "2018-07-15", "civil", "16 13:36:35"),
        (-74.55, -30.63, "2026-08-07", "sun", "08 13:25:53"),
    ],
)
def test_the_first_sun_after_a_polar_night_was_told_as_no_sun_at_all(
    latitude: float, longitude: float, evening: str, level: str, dawn: str
) -> None:
    night = date.fromisoformat(evening)
    found: Darkness = getattr(night_sky(site(latitude, longitude), night), level)
    assert near(found.dawn, dawn, night)
    assert (found.dusk, found.reason) == (None, "the sun goes down outside this night")
    before: Darkness = getattr(night_sky(site(latitude, longitude), night - timedelta(days=1)), level)
    assert (before.dusk, before.dawn) == (None, None)


# Source: the same, the moon's upper limb 34' below the horizon.
@pytest.mark.parametrize(
    ("latitude", "longitude", "evening", "event", "told"),
    [
        (69.65, 18.96, "2027-01-22", "moonset", "23 09:17:54"),
        (66.9, 23.7, "2027-01-08", "moonrise", "09 09:43:26"),
        (78.22, 15.65, "2027-01-23", "moonset", "24 10:44:21"),
        (-74.55, -30.63, "2026-07-30", "moonset", "31 12:39:12"),
    ],
)
def test_a_moon_that_rises_or_sets_late_in_the_night_only_was_told_as_never(
    latitude: float, longitude: float, evening: str, event: str, told: str
) -> None:
    night = date.fromisoformat(evening)
    assert near(getattr(night_sky(site(latitude, longitude), night), event), told, night, 2)


def test_the_last_latitude_with_an_astronomical_night_at_the_june_solstice() -> None:
    """48.565° N: skyfield 1.55 over latitudes 48.300 to 48.800."""
    solstice = date(2026, 6, 20)
    assert night_sky(site(48.56, 20), solstice).astronomical.dusk is not None
    assert night_sky(site(48.57, 20), solstice).astronomical.dusk is None


# Source: skyfield 1.55 with DE421; time, moon altitude, lit percentage.
MOONS = [
    (50, 20, "2026-06-19 22:40:00", -7.1388, 29.709),
    (78.22, 15.65, "2026-12-21 22:57:24", 33.9226, 93.256),
    (69.65, 18.96, "2026-12-21 22:44:09", 40.5416, 93.201),
    (-46.41, 168.35, "2026-06-21 12:46:36", -3.9720, 46.168),
    (64.84, -147.72, "2026-03-21 09:50:52", -7.0290, 7.367),
]


@pytest.mark.parametrize(("latitude", "longitude", "time", "altitude", "lit"), MOONS)
def test_the_moon_agrees_with_an_independent_library(
    latitude: float, longitude: float, time: str, altitude: float, lit: float
) -> None:
    moment = datetime.fromisoformat(time).replace(tzinfo=UTC)
    assert moon_altitude(site(latitude, longitude), moment) == pytest.approx(altitude, abs=0.002)
    assert moon_lit(moment) * 100 == pytest.approx(lit, abs=0.02)


def test_moonrise_and_moonset_agree_with_an_independent_library() -> None:
    south = night_sky(site(-46.41, 168.35), date(2026, 6, 21))
    assert near(south.moonset, "21 12:27:24", south.night, 2)
    assert near(south.moonrise, "22 00:36:23", south.night, 2)
    north = night_sky(site(64.84, -147.72), date(2026, 3, 20))
    assert near(north.moonset, "21 08:09:33", north.night, 2)
    assert near(north.moonrise, "21 15:14:56", north.night, 2)


# Source: the US Naval Observatory's values that skyfield's own tests carry (UTC, to the minute).
USNO = [
    (40.8939, -83.8917, "2018-09-11", "sun", None, "2018-09-12 11:13"),
    (40.8939, -83.8917, "2018-09-12", "sun", "2018-09-12 23:50", None),
    (41.281944, -84.362778, "2019-11-07", "astronomical", None, "2019-11-08 10:42"),
    (41.281944, -84.362778, "2019-11-07", "nautical", None, "2019-11-08 11:15"),
    (41.281944, -84.362778, "2019-11-07", "civil", None, "2019-11-08 11:48"),
    (41.281944, -84.362778, "2019-11-07", "sun", None, "2019-11-08 12:17"),
    (41.281944, -84.362778, "2019-11-08", "sun", "2019-11-08 22:25", None),
    (41.281944, -84.362778, "2019-11-08", "civil", "2019-11-08 22:54", None),
    (41.281944, -84.362778, "2019-11-08", "nautical", "2019-11-08 23:27", None),
    (41.281944, -84.362778, "2019-11-08", "astronomical", "2019-11-08 23:59", None),
]


@pytest.mark.parametrize(("latitude", "longitude", "evening", "level", "dusk", "dawn"), USNO)
def test_dusk_and_dawn_agree_with_published_values_to_the_minute(
    latitude: float, longitude: float, evening: str, level: str, dusk: str | None, dawn: str | None
) -> None:
    found: Darkness = getattr(night_sky(site(latitude, longitude), date.fromisoformat(evening)), level)
    for moment, told in ((found.dusk, dusk), (found.dawn, dawn)):
        if told is not None:
            assert moment is not None
            assert abs((moment - datetime.fromisoformat(told).replace(tzinfo=UTC)).total_seconds()) <= 60


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("evening", ["2026-03-18", "2026-10-01"])
def test_dusk_and_dawn_agree_with_a_library_of_today_to_the_second(evening: str) -> None:
    """skyfield with the ephemeris of skyfield-data."""
    ephemeris = api.Loader(skyfield_data.get_skyfield_data_path(), expire=False)("de421.bsp")
    place = api.wgs84.latlon(60.0, 20.0)
    observer, scale = ephemeris["earth"] + place, api.load.timescale(builtin=True)
    found = night_sky(site(60.0, 20.0), date.fromisoformat(evening))
    between = scale.from_datetime(found.begins), scale.from_datetime(found.ends)
    for darkness, horizon in (
        (found.sun, -0.8333), (found.civil, -6), (found.nautical, -12), (found.astronomical, -18)
    ):  # fmt: skip
        for moment, search in ((darkness.dusk, almanac.find_settings), (darkness.dawn, almanac.find_risings)):
            times, reached = search(observer, ephemeris["sun"], *between, horizon_degrees=horizon)
            (expected,) = [each for each, there in zip(times.utc_datetime(), reached, strict=True) if there]
            assert moment is not None
            assert abs((moment - expected).total_seconds()) <= 1


def test_a_moon_that_stays_up_neither_rises_nor_sets() -> None:
    found = night_sky(site(78.22, 15.65), date(2026, 12, 21))
    assert (found.moonrise, found.moonset) == (None, None)
    assert found.moon_altitude > 30


# Source: skyfield 1.55 with DE421, the sun's lowest in the same nights.
@pytest.mark.parametrize(
    ("latitude", "longitude", "evening", "lowest"),
    [(50, 20, "2026-06-19", -16.571), (69.65, 18.96, "2026-06-21", 3.084)],
)
def test_the_lowest_sun_agrees_with_an_independent_library(
    latitude: float, longitude: float, evening: str, lowest: float
) -> None:
    found = night_sky(site(latitude, longitude), date.fromisoformat(evening))
    assert found.sun_lowest == pytest.approx(lowest, abs=0.01)


def usno_year(name: str) -> list[tuple[int, int, str, str]]:
    """(month, day, rise, set) of a yearly table of the US Naval Observatory; blank where there is none."""
    found = []
    for line in (TABLES / name).read_text(encoding="utf-8").splitlines():
        if not re.match(r"\d\d  ", line):
            continue
        for month in range(12):
            cell = line[4 + month * 11 : 4 + month * 11 + 9].ljust(9)
            found.append((month + 1, int(line[:2]), cell[:4].strip(), cell[5:9].strip()))
    return [row for row in found if row[2] or row[3]]


@pytest.mark.slow
def test_a_year_of_sunsets_and_sunrises_agrees_with_the_naval_observatory() -> None:
    """Source: US Naval Observatory, Atlanta 2007, Eastern Standard Time, to the minute."""
    here = site(33 + 46 / 60, -(84 + 25 / 60))
    rows = usno_year("riset_sun.txt")
    assert len(rows) == 365
    for month, day, rise, falls in rows:
        midnight = datetime(2007, month, day, 5, tzinfo=UTC)
        for found, told in (
            (night_sky(here, (midnight - timedelta(days=1)).date()).sun.dawn, rise),
            (night_sky(here, midnight.date()).sun.dusk, falls),
        ):
            expected = midnight + timedelta(hours=int(told[:2]), minutes=int(told[2:]))
            assert found is not None
            assert abs((found - expected).total_seconds()) <= 60, (month, day, told)


@pytest.mark.slow
def test_a_year_of_moonsets_agrees_with_the_naval_observatory() -> None:
    """Source: US Naval Observatory, Boston 1984, Eastern Standard Time, to the minute."""
    here = site(42 + 19 / 60, -(71 + 5 / 60))
    rises, sets = set(), set()
    for month, day, rise, falls in usno_year("riset_moon.txt"):
        midnight = datetime(1984, month, day, 5, tzinfo=UTC)
        for told, moments in ((rise, rises), (falls, sets)):
            if told:
                moments.add(midnight + timedelta(hours=int(told[:2]), minutes=int(told[2:])))
    compared = 0
    for offset in range(1, 364):
        found = night_sky(here, date(1984, 1, 1) + timedelta(days=offset))
        for moment, table in ((found.moonrise, rises), (found.moonset, sets)):
            if moment is not None:
                nearest = min(abs((moment - told).total_seconds()) for told in table)
                assert nearest <= 60, moment
                compared += 1
    assert compared > 650


def test_the_moon_is_dark_at_new_half_at_quarters_and_lit_at_full() -> None:
    """Source: US Naval Observatory, phases of 1980, Universal Time."""
    names = "JanFebMarAprMayJunJulAugSepOctNovDec"
    compared = 0
    for line in (TABLES / "moon_phases.txt").read_text(encoding="utf-8").splitlines():
        for match in re.finditer(r"([A-Z][a-z]{2}) +(\d+) +(\d+) (\d\d)", line):
            column = min(range(4), key=lambda index: abs(match.start() - (4 + 16 * index)))
            moment = datetime(
                1980, names.index(match[1]) // 3 + 1, int(match[2]), int(match[3]), int(match[4]), tzinfo=UTC
            )
            assert moon_lit(moment) == pytest.approx((0, 0.5, 1, 0.5)[column], abs=0.005)
            compared += 1
    assert compared == 50


def test_a_night_lasts_from_noon_to_noon_and_knows_its_middle() -> None:
    found = night_sky(site(50, 15), date(2026, 6, 19))
    assert found.begins == datetime(2026, 6, 19, 11, tzinfo=UTC)
    assert found.middle == datetime(2026, 6, 19, 23, tzinfo=UTC)


def test_the_sun_is_up_at_noon_and_down_at_midnight() -> None:
    found = night_sky(site(50, 15), date(2026, 3, 20))
    assert sun_altitude(site(50, 15), found.begins) == pytest.approx(39.8, abs=0.5)
    assert sun_altitude(site(50, 15), found.middle) == pytest.approx(-39.8, abs=0.5)


@pytest.mark.slow
def test_every_night_of_a_year_has_an_answer_at_every_latitude() -> None:
    for latitude in (-90, -70, -66.6, 0, 66.6, 68, 78, 90):
        for offset in range(0, 365, 3):
            night = date(2026, 1, 1) + timedelta(days=offset)
            found = night_sky(site(latitude, 20), night)
            for level in (found.sun, found.civil, found.nautical, found.astronomical):
                assert (level.dusk is not None and level.dawn is not None) == (level.reason is None)
                for moment in (level.dusk, level.dawn):
                    assert moment is None or found.begins <= moment <= found.ends
