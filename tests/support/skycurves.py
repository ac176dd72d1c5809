"""Invented brightness curves of cameras under one sky, with clocks that are wrong."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from datetime import UTC, datetime

from archive.model.clocks import CurvePoint
from archive.model.place import Site
from archive.nights.sky import sun_altitude
from archive.nights.sun_clock import illuminance

RIVER_BEND = Site(
    id="site:river-bend", name="River bend", latitude=69.2, longitude=20.1, elevation_m=40, zone="Europe/Oslo"
)


def restless(seed: int, *, tau: float = 60.0) -> Callable[[float], float]:
    """A sky whose brightness wanders by a stop: a sum of waves, each of its own period and phase."""
    random_ = random.Random(seed)
    waves = [(tau * random_.uniform(1.5, 12), random_.uniform(0, math.tau)) for _ in range(24)]
    return lambda at: -9 + sum(math.sin(math.tau * at / period + phase) for period, phase in waves) / 3.5


def curve(
    sky: Callable[[float], float],
    *,
    begin: datetime,
    count: int = 150,
    cadence_s: float = 10.0,
    slow_s: float = 0.0,
    noise: float = 0.05,
    seed: int = 1,
) -> list[CurvePoint]:
    """What a camera saw of a sky from ``begin`` (true time) on, by a clock that is ``slow_s`` behind."""
    random_ = random.Random(seed)
    start = begin.timestamp()
    return [
        CurvePoint(
            at=start + step * cadence_s - slow_s,
            stops=sky(start + step * cadence_s) + random_.gauss(0, noise),
        )
        for step in range(count)
    ]


def dusk(site: Site, *, level: float = 0.0, night: float = -9.0, seed: int = 1) -> Callable[[float], float]:
    """A clear dusk and dawn over a night of constant light, with clouds of half a stop."""
    clouds = restless(seed, tau=600)

    def sky(at: float) -> float:
        lux = illuminance(sun_altitude(site, datetime.fromtimestamp(at, UTC)))
        day = math.log2(lux / math.pi / 2 / 1.2) + level
        return math.log2(2**day + 2**night) + 0.4 * (clouds(at) + 9)

    return sky
