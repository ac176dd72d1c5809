"""When a frame was taken, and how that is known: recorded offset, the site's zone, or the file's own time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
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
    clocks: Iterable[ClockCorrection] = (),
) -> CaptureTime:
    """The best instant for a frame.

    The camera's reading counts with its recorded offset, else in the site's zone, else as UTC (told as
    assumed); without a reading the file's own time stands in. Clock corrections apply to readings only;
    where several cover one, the last given counts.
    """
    offset = _offset(facts.offset) if facts and facts.offset else None
    if site is not None:
        longitude = site.longitude
    else:
        # Without a site the zone's meridian is the best guess at the local noon.
        longitude = offset.total_seconds() / 3600 * 15 if offset is not None else 0.0
    reading = _reading(facts)
    if reading is None:
        return CaptureTime(moment=modified.astimezone(UTC), source=TimeSource.FILE, longitude=longitude)
    if offset is not None:
        moment, source = reading.replace(tzinfo=timezone(offset)).astimezone(UTC), TimeSource.OFFSET
    elif site is not None:
        moment = site.to_utc(reading)
        source = TimeSource.DOUBTFUL if site.in_doubt(reading) else TimeSource.SITE
    else:
        moment, source = reading.replace(tzinfo=UTC), TimeSource.ASSUMED
    corrections = [clock for clock in clocks if clock.covers(moment)]
    if corrections:
        moment = corrections[-1].corrected(moment)
    return CaptureTime(moment=moment, source=source, longitude=longitude)


def _reading(facts: CaptureFacts | None) -> datetime | None:
    if facts is None or facts.taken is None:
        return None
    try:
        reading = datetime.fromisoformat(facts.taken)
    except ValueError:
        return None
    # Readings at the very ends of the calendar cannot be moved between zones.
    return reading.replace(tzinfo=None) if 1900 <= reading.year <= 9000 else None


@lru_cache(maxsize=256)
def _offset(text: str) -> timedelta | None:
    try:
        return datetime.strptime(text, "%z").utcoffset()
    except ValueError:
        return None
