"""Sun and moon over a site: when it is dark, how dark, and why it is not.

Sunset and sunrise are the upper limb on a level horizon (centre at -50', with 34' of mean refraction),
the twilights the sun's centre at -6°, -12° and -18°, as the US Naval Observatory defines them. The
figures serve the planning of pictures, not navigation or safety in the field.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

import ephem

from archive.model.place import Site, night_span
from archive.model.sky import Darkness, NightSky
from archive.nights.crossings import crossings, turns

SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL = -0.8333, -6.0, -12.0, -18.0
_MOON_LIMB = -34 / 60


def sun_altitude(site: Site, moment: datetime) -> float:
    """Altitude of the sun's centre in degrees, topocentric, without refraction."""
    return _altitude(site, moment, ephem.Sun())


def moon_altitude(site: Site, moment: datetime) -> float:
    """Altitude of the moon's centre in degrees, topocentric, without refraction."""
    return _altitude(site, moment, ephem.Moon())


def moon_lit(moment: datetime) -> float:
    """The lit fraction of the moon's disc, 0 to 1, seen from the centre of the earth."""
    moon = ephem.Moon(_instant(moment))
    return float(moon.phase) / 100


def night_sky(site: Site, night: date) -> NightSky:
    """Sun, twilights and moon of a night at a site; each missing twilight with its reason."""
    begins, ends = night_span(night, site.longitude)
    middle = begins + (ends - begins) / 2
    sun, moon = _Path(begins, ends, site, ephem.Sun()), _Path(begins, ends, site, ephem.Moon(), limb=True)
    return NightSky(
        night=night,
        begins=begins,
        ends=ends,
        sun=_darkness(sun, SUNSET, "the sun does not set", "the sun does not rise"),
        civil=_darkness(sun, CIVIL, *_words("civil", 6)),
        nautical=_darkness(sun, NAUTICAL, *_words("nautical", 12)),
        astronomical=_darkness(sun, ASTRONOMICAL, *_words("astronomical", 18)),
        sun_lowest=_lowest(site, begins, ends),
        moonrise=moon.passes(_MOON_LIMB, rising=True),
        moonset=moon.passes(_MOON_LIMB, rising=False),
        moon_altitude=moon_altitude(site, middle),
        moon_lit=moon_lit(middle),
    )


def _words(name: str, degrees: int) -> tuple[str, str]:
    return (
        f"no {name} night: the sun stays above -{degrees}°",
        f"{name} night at all hours: the sun stays below -{degrees}°",
    )


def _observer(site: Site) -> Any:
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(site.latitude), math.radians(site.longitude)
    observer.elevation = site.elevation_m
    # Mean refraction is already in the levels; the library would otherwise add its own.
    observer.pressure = 0
    return observer


def _instant(moment: datetime) -> Any:
    return ephem.Date(moment.astimezone(UTC).replace(tzinfo=None))


def _moment(instant: Any) -> datetime:
    found: datetime = instant.datetime()
    return found.replace(tzinfo=UTC)


def _altitude(site: Site, moment: datetime, body: Any) -> float:
    observer = _observer(site)
    observer.date = _instant(moment)
    body.compute(observer)
    return math.degrees(float(body.alt))


class _Path:
    """How high a body stands over a site in one night: its centre, or its upper limb, in degrees."""

    def __init__(
        self, begins: datetime, ends: datetime, site: Site, body: Any, *, limb: bool = False
    ) -> None:
        self._begins = begins
        self._ends = ends
        self._first = _instant(begins)
        self._observer = _observer(site)
        self._body = body
        self._limb = limb

    def passes(self, level: float, *, rising: bool, after: datetime | None = None) -> datetime | None:
        """When it first passes an altitude, upwards or downwards."""
        after = after or self._begins
        self._observer.date = _instant(after)
        self._observer.horizon = math.radians(level)
        find = self._observer.next_rising if rising else self._observer.next_setting
        try:
            moment = _moment(find(self._body, use_center=not self._limb))
        except ephem.CircumpolarError:
            # Told of one transit, and a night from noon to noon has two: at its edge it may still pass.
            return min((each for each in self._all(level, rising) if each > after), default=None)
        return moment if moment < self._ends else None

    def _all(self, level: float, rising: bool) -> list[datetime]:
        found = crossings(self._height, self._turns, level, rising=rising)
        return [self._begins + timedelta(seconds=second) for second in found]

    @cached_property
    def _turns(self) -> list[float]:
        return turns(self._height, (self._ends - self._begins).total_seconds())

    def _height(self, second: float) -> float:
        self._observer.date = self._first + second / 86400
        self._body.compute(self._observer)
        return math.degrees(float(self._body.alt) + (float(self._body.radius) if self._limb else 0.0))

    def above(self, level: float) -> bool:
        """Whether it stands above an altitude in the middle of the night."""
        return self._height((self._ends - self._begins).total_seconds() / 2) > level


def _darkness(sun: _Path, level: float, above: str, below: str) -> Darkness:
    dusk = sun.passes(level, rising=False)
    dawn = sun.passes(level, rising=True, after=dusk)
    if dusk is not None and dawn is not None:
        return Darkness(dusk=dusk, dawn=dawn)
    if dusk is None and dawn is None:
        return Darkness(dusk=None, dawn=None, reason=above if sun.above(level) else below)
    missing = "comes up" if dawn is None else "goes down"
    return Darkness(dusk=dusk, dawn=dawn, reason=f"the sun {missing} outside this night")


def _lowest(site: Site, begins: datetime, ends: datetime) -> float:
    """The sun's lowest altitude in a span, in degrees: at its lower transit."""
    observer = _observer(site)
    observer.date = _instant(begins)
    transit = _moment(observer.next_antitransit(ephem.Sun()))
    return sun_altitude(site, min(max(transit, begins), ends))
