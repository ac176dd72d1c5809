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
