"""How light it was at each frame: sun and moon, and the twilight that the sun makes."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from datetime import datetime

from archive.model.place import Site
from archive.model.sky import FrameSky, Light
from archive.nights.altitudes import Altitudes
from archive.nights.sky import moon_lit

_LIMITS = ((-18.0, Light.ASTRONOMICAL), (-12.0, Light.NAUTICAL), (-6.0, Light.CIVIL), (-0.8333, Light.DAY))
"""Altitude from which on it is at least so light; US Naval Observatory, as in ``sky``."""


def light_at(sun: float) -> Light:
    """How light it is with the sun's centre at this altitude in degrees."""
    at = bisect_right(_LIMITS, sun, key=lambda limit: limit[0])
    return _LIMITS[at - 1][1] if at else Light.NIGHT


def frame_skies(site: Site, moments: Iterable[datetime]) -> list[FrameSky]:
    """The sky of each of these instants, in their order."""
    altitudes = Altitudes(site)
    found = []
    for moment in moments:
        sun, moon = altitudes.at(moment)
        found.append(
            FrameSky(
                sun_altitude=round(sun, 3),
                moon_altitude=round(moon, 3),
                moon_lit=round(moon_lit(moment), 4),
                light=light_at(sun),
            )
        )
    return found
