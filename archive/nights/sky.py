"""Sun and moon over a site: when it is dark, how dark, and why it is not.

Sunset and sunrise are the upper limb on a level horizon (centre at -50', with 34' of mean refraction),
the twilights the sun's centre at -6°, -12° and -18°, as the US Naval Observatory defines them. The
figures serve the planning of pictures, not navigation or safety in the field.
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from typing import Any

import ephem

from archive.model.place import Site, night_span
from archive.model.sky import Darkness, NightSky

SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL = "-0.8333", "-6", "-12", "-18"
_MOON_LIMB = "-0:34"


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
    return NightSky(
        night=night,
        begins=begins,
        ends=ends,
        sun=_darkness(site, begins, ends, SUNSET, "the sun does not set", "the sun does not rise"),
        civil=_darkness(site, begins, ends, CIVIL, *_words("civil", 6)),
        nautical=_darkness(site, begins, ends, NAUTICAL, *_words("nautical", 12)),
        astronomical=_darkness(site, begins, ends, ASTRONOMICAL, *_words("astronomical", 18)),
        sun_lowest=_lowest(site, begins, ends),
        moonrise=_moon(site, begins, ends, rising=True),
        moonset=_moon(site, begins, ends, rising=False),
        moon_altitude=moon_altitude(site, middle),
        moon_lit=moon_lit(middle),
    )


def _words(name: str, degrees: int) -> tuple[str, str]:
    return (
        f"no {name} night: the sun stays above -{degrees}°",
        f"{name} night at all hours: the sun stays below -{degrees}°",
    )


def _observer(site: Site, horizon: str = "0") -> Any:
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(site.latitude), math.radians(site.longitude)
    observer.elevation = site.elevation_m
    # Mean refraction is already in the horizon; the library would otherwise add its own.
    observer.pressure = 0
    observer.horizon = horizon
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


def _darkness(site: Site, begins: datetime, ends: datetime, horizon: str, above: str, below: str) -> Darkness:
    dusk, always = _crossing(site, begins, ends, horizon, rising=False)
    dawn, _ = _crossing(site, dusk or begins, ends, horizon, rising=True)
    if dusk is not None and dawn is not None:
        return Darkness(dusk=dusk, dawn=dawn)
    if dusk is None and dawn is None:
        if always is None:
            always = sun_altitude(site, begins + (ends - begins) / 2) > float(horizon)
        return Darkness(dusk=None, dawn=None, reason=above if always else below)
    missing = "comes up" if dawn is None else "goes down"
    return Darkness(dusk=dusk, dawn=dawn, reason=f"the sun {missing} outside this night")


def _crossing(
    site: Site, begins: datetime, ends: datetime, horizon: str, *, rising: bool
) -> tuple[datetime | None, bool | None]:
    """When the sun's centre passes an altitude within a span; else whether it is always above it."""
    observer = _observer(site, horizon)
    observer.date = _instant(begins)
    find = observer.next_rising if rising else observer.next_setting
    try:
        moment = _moment(find(ephem.Sun(), use_center=True))
    except ephem.AlwaysUpError:
        return None, True
    except ephem.NeverUpError:
        return None, False
    return (moment, None) if moment < ends else (None, None)


def _moon(site: Site, begins: datetime, ends: datetime, *, rising: bool) -> datetime | None:
    observer = _observer(site, _MOON_LIMB)
    observer.date = _instant(begins)
    find = observer.next_rising if rising else observer.next_setting
    try:
        moment = _moment(find(ephem.Moon()))
    except ephem.CircumpolarError:
        return None
    return moment if moment < ends else None


def _lowest(site: Site, begins: datetime, ends: datetime) -> float:
    """The sun's lowest altitude in a span, in degrees: at its lower transit."""
    observer = _observer(site)
    observer.date = _instant(begins)
    transit = _moment(observer.next_antitransit(ephem.Sun()))
    return sun_altitude(site, min(max(transit, begins), ends))
