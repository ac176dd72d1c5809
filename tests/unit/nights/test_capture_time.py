"""When a frame was taken, and how that is known."""

from datetime import UTC, datetime, timedelta

import pytest

from archive.model.capture import CaptureFacts
from archive.model.place import ClockCorrection, Site
from archive.nights.capture_time import TimeSource, capture_time

SITE = Site(id="site:bend", name="Bend", latitude=69.1, longitude=20.4, elevation_m=70, zone="Europe/Oslo")
FILE = datetime(2026, 3, 19, 5, 0, tzinfo=UTC)


def at(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)


def test_a_recorded_offset_and_a_fraction_give_the_instant_of_the_exif_standards_example() -> None:
    # CIPA DC-008: `2026:03:18 23:30:15`, SubSec `04` (.04 s), OffsetTime `+01:00`.
    facts = CaptureFacts(taken="2026-03-18T23:30:15.04", offset="+01:00")
    time = capture_time(facts, FILE, SITE)
    assert time.moment == at(2026, 3, 18, 22, 30, 15) + timedelta(milliseconds=40)
    assert time.source is TimeSource.OFFSET
    assert time.night.isoformat() == "2026-03-18"


def test_an_offset_outweighs_the_sites_zone() -> None:
    facts = CaptureFacts(taken="2026-03-18T23:30:15", offset="+03:00")
    assert capture_time(facts, FILE, SITE).moment == at(2026, 3, 18, 20, 30, 15)


@pytest.mark.parametrize("month, hours", [(1, 1), (7, 2)], ids=["winter", "summer"])
def test_without_an_offset_the_sites_zone_counts_with_its_daylight_saving(month: int, hours: int) -> None:
    time = capture_time(CaptureFacts(taken=f"2026-{month:02}-10T12:30:00"), FILE, SITE)
    assert time.moment == at(2026, month, 10, 12 - hours, 30)
    assert time.source is TimeSource.SITE and time.source.certain


def test_without_offset_and_site_the_reading_counts_as_utc_and_is_told_as_assumed() -> None:
    time = capture_time(CaptureFacts(taken="2026-03-18T23:30:15"), FILE, None)
    assert time.moment == at(2026, 3, 18, 23, 30, 15)
    assert time.source is TimeSource.ASSUMED and not time.source.certain


@pytest.mark.parametrize(
    "facts",
    [None, CaptureFacts(), CaptureFacts(taken="0001-01-01T00:00:00"), CaptureFacts(taken="yesterday")],
)
def test_without_a_usable_reading_the_files_own_time_stands_in(facts: CaptureFacts | None) -> None:
    time = capture_time(facts, FILE, SITE)
    assert (time.moment, time.source) == (FILE, TimeSource.FILE)


def test_without_a_site_the_offsets_meridian_tells_the_night() -> None:
    facts = CaptureFacts(taken="2026-03-18T13:00:00", offset="+10:00")
    assert capture_time(facts, FILE, None).night.isoformat() == "2026-03-18"
    assert (
        capture_time(CaptureFacts(taken="2026-03-18T11:00:00", offset="+10:00"), FILE, None).night.day == 17
    )


def test_an_unreadable_offset_is_as_good_as_none() -> None:
    facts = CaptureFacts(taken="2026-03-18T23:30:15", offset="  :  ")
    assert capture_time(facts, FILE, SITE).source is TimeSource.SITE


def test_of_corrections_that_cover_a_reading_the_last_stated_applies_and_never_to_file_times() -> None:
    reading = at(2026, 3, 18, 22, 30, 15)
    slow = ClockCorrection(reads=reading, true=reading + timedelta(seconds=72))
    hour = ClockCorrection(reads=reading, true=reading + timedelta(hours=1), since=reading)
    facts = CaptureFacts(taken="2026-03-18T23:30:15", offset="+01:00")
    assert capture_time(facts, FILE, SITE, [slow]).moment == reading + timedelta(seconds=72)
    assert capture_time(facts, FILE, SITE, [slow, hour]).moment == reading + timedelta(hours=1)
    earlier = CaptureFacts(taken="2026-03-18T23:30:14", offset="+01:00")
    assert capture_time(earlier, FILE, SITE, [slow, hour]).moment == reading + timedelta(seconds=71)
    assert capture_time(None, FILE, SITE, [slow]).moment == FILE


AUTUMN = "2026-10-25T02:30:00"
"""Clocks in Europe go back at 01:00 UTC on the last Sunday of October (Directive 2000/84/EC)."""
SPRING = "2026-03-29T02:30:00"
"""They go forward at 01:00 UTC on the last Sunday of March: there is no 02:30."""


def test_in_the_repeated_hour_of_autumn_the_first_counts_and_is_told_as_doubtful() -> None:
    time = capture_time(CaptureFacts(taken=AUTUMN), FILE, SITE)
    assert (time.moment, time.source) == (at(2026, 10, 25, 0, 30), TimeSource.DOUBTFUL)
    assert not time.source.certain


def test_in_the_hour_that_spring_leaves_out_the_offset_before_it_counts_and_is_doubtful() -> None:
    time = capture_time(CaptureFacts(taken=SPRING), FILE, SITE)
    assert (time.moment, time.source) == (at(2026, 3, 29, 1, 30), TimeSource.DOUBTFUL)


@pytest.mark.parametrize(
    "taken, moment",
    [
        ("2026-10-25T01:59:59", at(2026, 10, 24, 23, 59, 59)),
        ("2026-10-25T03:00:00", at(2026, 10, 25, 2)),
        ("2026-03-29T01:59:59", at(2026, 3, 29, 0, 59, 59)),
        ("2026-03-29T03:00:00", at(2026, 3, 29, 1)),
    ],
)
def test_just_outside_those_hours_nothing_is_in_doubt(taken: str, moment: datetime) -> None:
    time = capture_time(CaptureFacts(taken=taken), FILE, SITE)
    assert (time.moment, time.source) == (moment, TimeSource.SITE)


@pytest.mark.parametrize("offset, hour", [("+02:00", 0), ("+01:00", 1)])
def test_a_recorded_offset_tells_the_two_half_past_twos_apart(offset: str, hour: int) -> None:
    time = capture_time(CaptureFacts(taken=AUTUMN, offset=offset), FILE, SITE)
    assert (time.moment, time.source) == (at(2026, 10, 25, hour, 30), TimeSource.OFFSET)


def test_a_camera_that_stayed_on_summer_time_is_put_right_by_a_correction_of_a_span() -> None:
    stayed = ClockCorrection(reads=at(2026, 10, 25, 2), true=at(2026, 10, 25, 1), since=at(2026, 10, 25, 2))
    before = capture_time(CaptureFacts(taken="2026-10-25T02:59:50"), FILE, SITE, [stayed])
    after = capture_time(CaptureFacts(taken="2026-10-25T03:00:00"), FILE, SITE, [stayed])
    assert after.moment - before.moment == timedelta(seconds=10)


def test_drift_grows_from_the_photographed_reading_in_both_directions() -> None:
    reading = at(2026, 3, 18, 22)
    clock = ClockCorrection(reads=reading, true=reading + timedelta(seconds=60), drift=4.0)
    for days in (-1.0, 0.0, 0.5, 2.0):
        taken = (reading + timedelta(days=days)).replace(tzinfo=None).isoformat()
        time = capture_time(CaptureFacts(taken=taken, offset="+00:00"), FILE, SITE, [clock])
        assert (time.moment - (reading + timedelta(days=days))).total_seconds() == 60 - 4 * days


def test_a_span_holds_its_first_reading_and_not_its_last() -> None:
    since, until = at(2026, 3, 18, 22), at(2026, 3, 18, 23)
    clock = ClockCorrection(reads=since, true=since + timedelta(seconds=5), since=since, until=until)
    for taken, seconds in (("21:59:59", 0), ("22:00:00", 5), ("22:59:59", 5), ("23:00:00", 0)):
        facts = CaptureFacts(taken=f"2026-03-18T{taken}", offset="+00:00")
        plain = capture_time(facts, FILE, SITE).moment
        assert (capture_time(facts, FILE, SITE, [clock]).moment - plain).total_seconds() == seconds


@pytest.mark.parametrize(
    "taken, night", [("23:59:59", 18), ("00:00:00", 18), ("11:38:00", 18), ("11:40:00", 19)]
)
def test_local_midnight_is_inside_a_night_and_local_mean_noon_ends_it(taken: str, night: int) -> None:
    # 20.4° east: local mean noon is at 12:00 − 20.4/15 h = 10:38:24 UTC, 11:38:24 by the clock of the zone.
    day = "18" if taken.startswith("23") else "19"
    facts = CaptureFacts(taken=f"2026-03-{day}T{taken}")
    assert capture_time(facts, FILE, SITE).night.day == night


@pytest.mark.parametrize("month", [6, 12], ids=["polar day", "polar night"])
def test_where_the_sun_does_not_set_or_rise_nights_still_run_from_noon_to_noon(month: int) -> None:
    far = Site(
        id="site:far", name="Far", latitude=78.2, longitude=15.6, elevation_m=5, zone="Arctic/Longyearbyen"
    )
    evening = capture_time(CaptureFacts(taken=f"2026-{month:02}-20T23:50:00"), FILE, far)
    morning = capture_time(CaptureFacts(taken=f"2026-{month:02}-21T00:10:00"), FILE, far)
    assert evening.night == morning.night
    assert evening.night.isoformat() == f"2026-{month:02}-20"
