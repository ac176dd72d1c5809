"""When a frame was taken, and how that is known: recorded offset, the site's zone, or the file's own time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from functools import lru_cache

from archive.model.capture import CaptureFacts
from archive.model.place import ClockCorrection, Site, night_of


class TimeSource(StrEnum):
    """What a capture time rests on; the last three are uncertain and shown so.

    ``DOUBTFUL`` is a reading in the hour that a change of the site's clocks repeats or leaves out.
    """

    OFFSET = "offset"
    SITE = "site"
    DOUBTFUL = "doubtful"
    ASSUMED = "assumed"
    FILE = "file"

    @property
    def certain(self) -> bool:
        return self in (TimeSource.OFFSET, TimeSource.SITE)


@dataclass(frozen=True, kw_only=True)
class CaptureTime:
    """An instant in UTC, what it rests on, and the longitude that its night is told by."""

    moment: datetime
    source: TimeSource
    longitude: float

    @property
    def night(self) -> date:
        return night_of(self.moment, self.longitude)


def capture_time(
    facts: CaptureFacts | None,
    modified: datetime,
    site: Site | None,
    clocks: Sequence[ClockCorrection] = (),
) -> CaptureTime:
    """The best instant for a frame.

    The camera's reading counts with its recorded offset, else in the site's zone, else as UTC (told as
    assumed); without a reading the file's own time stands in. Clock corrections apply to readings only;
    where several cover one, the last given counts.
    """
    taken, offset = (facts.taken, facts.offset) if facts else (None, None)
    read = reading_time(taken, offset, site, clocks)
    moment, source = read or (modified.astimezone(UTC), TimeSource.FILE)
    return CaptureTime(moment=moment, source=source, longitude=night_longitude(offset, site))


def night_longitude(offset: str | None, site: Site | None) -> float:
    """The longitude that a frame's night is told by: without a site the meridian of its recorded offset."""
    if site is not None:
        return site.longitude
    # The zone's meridian is the best guess at the local noon.
    known = _offset(offset) if offset else None
    return known.total_seconds() / 3600 * 15 if known is not None else 0.0


def reading_time(
    taken: str | None, offset: str | None, site: Site | None, clocks: Sequence[ClockCorrection] = ()
) -> tuple[datetime, TimeSource] | None:
    """The instant that a camera's reading tells, as :func:`capture_time` has it; None without a reading."""
    reading = _reading(taken)
    if reading is None:
        return None
    known = _offset(offset) if offset else None
    if known is not None:
        moment, source = (reading - known).replace(tzinfo=UTC), TimeSource.OFFSET
    elif site is not None:
        moment = site.to_utc(reading)
        source = TimeSource.DOUBTFUL if site.in_doubt(reading) else TimeSource.SITE
    else:
        moment, source = reading.replace(tzinfo=UTC), TimeSource.ASSUMED
    if clocks:
        covering = [clock for clock in clocks if clock.covers(moment)]
        moment = covering[-1].corrected(moment) if covering else moment
    return moment, source


def _reading(taken: str | None) -> datetime | None:
    if taken is None:
        return None
    try:
        reading = datetime.fromisoformat(taken)
    except ValueError:
        return None
    # Readings at the very ends of the calendar cannot be moved between zones.
    if not 1900 <= reading.year <= 9000:
        return None
    return reading if reading.tzinfo is None else reading.replace(tzinfo=None)


@lru_cache(maxsize=256)
def _offset(text: str) -> timedelta | None:
    try:
        return datetime.strptime(text, "%z").utcoffset()
    except ValueError:
        return None
