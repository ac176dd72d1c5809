"""What is known of the sky over a site: darkness, sun and moon, and how disturbed the magnetic field is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


@dataclass(frozen=True, kw_only=True)
class Darkness:
    """When the sun goes below one altitude and comes back, in UTC; where it does not, ``reason`` says why."""

    dusk: datetime | None
    dawn: datetime | None
    reason: str | None = None


@dataclass(frozen=True, kw_only=True)
class NightSky:
    """The sky of one night, local mean noon to local mean noon.

    ``sun`` holds sunset and sunrise. ``moonrise`` and ``moonset`` are the first of each within the night.
    Altitudes are degrees above the horizon without refraction, for the middle of the night (local mean
    midnight) or, ``sun_lowest``, its lowest; ``moon_lit`` is 0 new to 1 full.
    """

    night: date
    begins: datetime
    ends: datetime
    sun: Darkness
    civil: Darkness
    nautical: Darkness
    astronomical: Darkness
    sun_lowest: float
    moonrise: datetime | None
    moonset: datetime | None
    moon_altitude: float
    moon_lit: float

    @property
    def middle(self) -> datetime:
        return self.begins + (self.ends - self.begins) / 2


class Light(StrEnum):
    """How light it is by the sun's altitude; the twilights are named by what they are called in almanacs."""

    DAY = "day"
    CIVIL = "civil twilight"
    NAUTICAL = "nautical twilight"
    ASTRONOMICAL = "astronomical twilight"
    NIGHT = "night"


@dataclass(frozen=True, kw_only=True)
class FrameSky:
    """The sky at an instant: altitudes in degrees without refraction, lit fraction 0 to 1, the light."""

    sun_altitude: float
    moon_altitude: float
    moon_lit: float
    light: Light


@dataclass(frozen=True, kw_only=True)
class ActivityLine:
    """One interval of the planetary index Kp: UTC, length in hours, Kp in thirds of 0 to 9, ap in 2 nT.

    ``final`` is false where the index may still be corrected.
    """

    begins: datetime
    hours: float
    kp: float
    ap: int | None
    final: bool


@dataclass(frozen=True, kw_only=True)
class SkyReport:
    """One night at its site: sky, the site's latitude to the dipole's pole, activity where it is known.

    ``notes`` say what is wrong with files of the index that cover the night too.
    """

    night: str
    site: str
    zone: str
    sky: NightSky
    dipole_latitude: float
    activity: tuple[ActivityLine, ...] = ()
    notes: tuple[str, ...] = ()
