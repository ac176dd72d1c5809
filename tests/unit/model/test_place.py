"""Sites, nights between local mean noons, and clock corrections."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest

from archive.model.place import ClockCorrection, Site, night_of, night_span


def site(**changed: Any) -> Site:
    values: dict[str, Any] = {
        "id": "site:river-bend",
        "name": "River bend",
        "latitude": 69.6,
        "longitude": 18.9,
        "elevation_m": 40.0,
        "zone": "Europe/Oslo",
    }
    return Site(**values | changed)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("latitude", 90.01, r"site.latitude: 90.01° is outside -90 to 90°"),
        ("latitude", -91, r"site.latitude"),
        ("longitude", 180.5, r"site.longitude: 180.5° is outside -180 to 180°"),
        ("elevation_m", 9001, r"site.elevation: 9001 m is outside -500 to 9000 m"),
        ("latitude", float("nan"), r"site.latitude"),
    ],
)
def test_a_site_outside_the_earth_is_refused_by_field(field: str, value: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        site(**{field: value})


def test_the_very_edges_of_the_earth_are_sites() -> None:
    assert site(latitude=-90, longitude=180, elevation_m=-500).longitude == 180


def test_winter_time_is_one_hour_ahead_in_oslo() -> None:
    assert site().to_utc(datetime(2026, 3, 18, 23, 30)) == datetime(2026, 3, 18, 22, 30, tzinfo=UTC)


def test_summer_time_is_two_hours_ahead_in_oslo() -> None:
    assert site().to_utc(datetime(2026, 8, 18, 23, 30)) == datetime(2026, 8, 18, 21, 30, tzinfo=UTC)


def test_in_the_repeated_hour_of_autumn_the_first_of_the_two_is_meant() -> None:
    # Directive 2000/84/EC: summer time ends on the last Sunday of October at 01:00 UTC.
    assert site().to_utc(datetime(2026, 10, 25, 2, 30)) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def test_in_the_missing_hour_of_spring_a_camera_that_was_not_reset_is_believed() -> None:
    # 02:30 does not exist on 29 March 2026; a clock still on winter time shows it at 01:30 UTC.
    assert site().to_utc(datetime(2026, 3, 29, 2, 30)) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)


def test_local_time_and_back_is_the_same_instant_in_both_repeated_hours() -> None:
    for hour in (0, 1):
        moment = datetime(2026, 10, 25, hour, 30, tzinfo=UTC)
        assert site().to_local(moment).astimezone(UTC) == moment
        assert site().to_local(moment).hour == 2


@pytest.mark.parametrize(
    ("moment", "longitude", "night"),
    [
        (datetime(2026, 3, 18, 12, 0, tzinfo=UTC), 0.0, date(2026, 3, 18)),
        (datetime(2026, 3, 18, 11, 59, 59, 999999, tzinfo=UTC), 0.0, date(2026, 3, 17)),
        (datetime(2026, 3, 19, 11, 59, 59, tzinfo=UTC), 0.0, date(2026, 3, 18)),
        (datetime(2026, 3, 18, 10, 0, tzinfo=UTC), 30.0, date(2026, 3, 18)),
        (datetime(2026, 3, 18, 9, 59, 59, tzinfo=UTC), 30.0, date(2026, 3, 17)),
        (datetime(2026, 3, 18, 14, 0, tzinfo=UTC), -30.0, date(2026, 3, 18)),
        (datetime(2026, 3, 18, 13, 59, 59, tzinfo=UTC), -30.0, date(2026, 3, 17)),
        (datetime(2026, 3, 18, 0, 0, tzinfo=UTC), 180.0, date(2026, 3, 18)),
        (datetime(2026, 3, 17, 23, 59, 59, tzinfo=UTC), 180.0, date(2026, 3, 17)),
        (datetime(2026, 3, 19, 0, 0, tzinfo=UTC), -180.0, date(2026, 3, 18)),
        (datetime(2026, 3, 18, 23, 59, 59, tzinfo=UTC), -180.0, date(2026, 3, 17)),
    ],
)
def test_a_night_runs_from_local_mean_noon_to_local_mean_noon(
    moment: datetime, longitude: float, night: date
) -> None:
    assert night_of(moment, longitude) == night


def test_a_night_is_the_same_whatever_zone_the_instant_is_written_in() -> None:
    moment = datetime(2026, 3, 18, 23, 30, tzinfo=UTC)
    assert night_of(moment.astimezone(timezone(timedelta(hours=14))), 0.0) == date(2026, 3, 18)


@pytest.mark.parametrize("longitude", [-180.0, -149.9, -0.004, 0.0, 18.9, 180.0])
def test_the_span_of_a_night_holds_exactly_the_instants_of_that_night(longitude: float) -> None:
    night = date(2026, 12, 31)
    first, end = night_span(night, longitude)
    assert end - first == timedelta(days=1)
    # Local mean noon is known to a microsecond at best; the neighbours of the edges are tested.
    tick = timedelta(microseconds=2)
    assert night_of(first + tick, longitude) == night
    assert night_of(end - tick, longitude) == night
    assert night_of(first - tick, longitude) == night - timedelta(days=1)
    assert night_of(end + tick, longitude) == night + timedelta(days=1)


READS = datetime(2026, 3, 18, 22, 0, 0, tzinfo=UTC)


def test_a_clock_that_was_fast_is_set_back_by_what_it_was_fast() -> None:
    clock = ClockCorrection(reads=READS, true=READS - timedelta(seconds=75))
    assert clock.corrected(READS + timedelta(hours=1)) == READS + timedelta(hours=1, seconds=-75)


def test_a_clock_that_gains_two_seconds_a_day_is_corrected_by_the_days_since_it_was_read() -> None:
    clock = ClockCorrection(reads=READS, true=READS, drift=2.0)
    assert clock.corrected(READS + timedelta(days=3)) == READS + timedelta(days=3, seconds=-6)
    assert clock.corrected(READS - timedelta(days=1)) == READS - timedelta(days=1) + timedelta(seconds=2)


def test_a_correction_covers_from_its_start_and_up_to_its_end() -> None:
    clock = ClockCorrection(reads=READS, true=READS, since=READS, until=READS + timedelta(hours=1))
    assert not clock.covers(READS - timedelta(microseconds=1))
    assert clock.covers(READS)
    assert clock.covers(READS + timedelta(minutes=59))
    assert not clock.covers(READS + timedelta(hours=1))


def test_a_correction_without_bounds_covers_everything() -> None:
    clock = ClockCorrection(reads=READS, true=READS)
    assert clock.covers(datetime(1980, 1, 1, tzinfo=UTC))
    assert clock.covers(datetime(2090, 1, 1, tzinfo=UTC))
