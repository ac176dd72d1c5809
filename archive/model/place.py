"""Sites, nights and clock corrections."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo


@dataclass(frozen=True, kw_only=True)
class Site:
    """A named place.

    Latitude and longitude in degrees (north and east positive), elevation in metres,
    ``zone`` an IANA time-zone name.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    zone: str

    def __post_init__(self) -> None:
        if not -90 <= self.latitude <= 90:
            raise ValueError(f"site.latitude: {self.latitude:g}° is outside -90 to 90°")
        if not -180 <= self.longitude <= 180:
            raise ValueError(f"site.longitude: {self.longitude:g}° is outside -180 to 180°")
        if not -500 <= self.elevation_m <= 9000:
            raise ValueError(f"site.elevation: {self.elevation_m:g} m is outside -500 to 9000 m")

    def to_utc(self, local: datetime) -> datetime:
        """The instant of a wall-clock time here.

        In the hour that is repeated in autumn the first of the two; in the hour that is left out in spring as
        if the clocks had not been changed yet.
        """
        return local.replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)

    def in_doubt(self, local: datetime) -> bool:
        """Whether a wall-clock time comes twice here, or never, because the clocks are changed."""
        zone = ZoneInfo(self.zone)
        offsets = {local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1)}
        return len(offsets) > 1

    def to_local(self, moment: datetime) -> datetime:
        return moment.astimezone(ZoneInfo(self.zone))


def night_of(moment: datetime, longitude: float) -> date:
    """The night an instant belongs to: local mean noon to local mean noon, named by its evening.

    Parameters
    ----------
    moment : aware datetime.
    longitude : degrees, east positive; local mean time is UTC + longitude / 15 h.
    """
    return (moment.astimezone(UTC) + _from_noon(longitude)).date()


@lru_cache(maxsize=64)
def _from_noon(longitude: float) -> timedelta:
    return timedelta(hours=longitude / 15 - 12)


def night_span(night: date, longitude: float) -> tuple[datetime, datetime]:
    """First and last instant (exclusive) of a night, in UTC."""
    noon = datetime(night.year, night.month, night.day, 12, tzinfo=UTC) - timedelta(hours=longitude / 15)
    return noon, noon + timedelta(days=1)


FASTEST_DRIFT = 600
"""Seconds a day: no camera's clock runs further off than this."""
LARGEST_SHIFT = timedelta(days=3653)


@dataclass(frozen=True, kw_only=True)
class ClockCorrection:
    """What a photographed clock showed: the camera read ``reads`` when it was ``true`` (both UTC).

    It holds for camera readings from ``since`` until ``until`` (None: unbounded); ``drift`` is
    seconds gained by the camera per day, counted from ``reads``.
    """

    reads: datetime
    true: datetime
    since: datetime | None = None
    until: datetime | None = None
    drift: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.drift) <= FASTEST_DRIFT:
            raise ValueError(
                f"drift: {self.drift:g} s a day is outside -{FASTEST_DRIFT} to {FASTEST_DRIFT} s a day"
            )
        if abs(self.true - self.reads) > LARGEST_SHIFT:
            raise ValueError("that would move the camera's clock by more than ten years")

    def covers(self, reading: datetime) -> bool:
        return (self.since is None or reading >= self.since) and (self.until is None or reading < self.until)

    def corrected(self, reading: datetime) -> datetime:
        days = (reading - self.reads).total_seconds() / 86400
        return reading + (self.true - self.reads) - timedelta(seconds=self.drift * days)
