"""Whether a camera's clock agrees with the sun: how bright its frames are against how high the sun stood.

Made for errors of an hour and more; dusk and dawn differ too much with weather for better than minutes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime
from statistics import median

from archive.model.clocks import CurvePoint, SunSpan, Sureness
from archive.model.place import Site
from archive.nights.altitudes import Altitudes

_BIN_S, _STEP_S = 300, 300
_FURTHEST_S = 14 * 3600
"""The largest difference between two time zones, and more than any clock that still tells the night."""
_SPREAD = 0.7
"""Stops by which five minutes stray: clouds, the bright side of twilight (common practice)."""
_LEVEL_SPREAD, _UNKNOWN_SPREAD = 1.3, 4.0
"""Stops by which a scene stands off from its light; more where a setting is not recorded."""
_LEVELS = tuple(step * 0.5 for step in range(-16, 17))
_DARKEST_LUX = 0.3
"""Moon and aurora are as bright: below it a picture says only that the sun was low."""
_SATURATED = 1.2
"""Luminance in cd/m² that clips at 1 s, f/1 and ISO 100: 78 / (0.65 × 100), ISO 12232."""
_AGREES, _CLEARLY = 4.0, 16.0
"""Differences of chi-square: two and four standard deviations."""
_SLOPES = (
    (20.0, (3.74, 3.97, -4.07, 1.47)),
    (5.0, (3.05, 13.28, -45.98, 64.33)),
    (-0.8, (2.88, 22.26, -207.64, 1034.30)),
    (-5.0, (2.88, 21.81, -258.11, -858.36)),
    (-12.0, (2.70, 12.17, -431.69, -1899.83)),
    (-18.0, (13.84, 262.72, 1447.42, 2797.93)),
)
"""From an altitude on: log10 lux as a polynomial of altitude / 90° (Janiczek and DeYoung, US Naval
Observatory Circular 171, 1987; coefficients from memory, they meet at every limit)."""


def illuminance(altitude: float) -> float:
    """Lux on level ground under a clear sky, with the sun's centre at an altitude in degrees."""
    x = max(altitude, -18.0) / 90
    a, b, c, d = next((terms for lowest, terms in _SLOPES if altitude >= lowest), _SLOPES[-1][1])
    return float(10 ** (a + x * (b + x * (c + x * d))))


def sun_span(points: Iterable[CurvePoint], site: Site, *, exact: bool = True) -> SunSpan:
    """How many seconds may be added to a camera's times so that its brightness agrees with the sun.

    Curves are brightness in stops with exposure settings taken out. ``exact`` is False where a setting is not
    recorded, so that the level of the curve is less certain than its course.
    """
    floor = _stops(_DARKEST_LUX)
    bins = _binned(points)
    if not bins:
        return SunSpan(sureness=Sureness.UNTOLD, reason="no frame was measured")
    seen = [(at, max(stops, floor)) for at, stops in bins]
    sky = _Sky(site)
    spread = _LEVEL_SPREAD if exact else _UNKNOWN_SPREAD
    shifts = range(-_FURTHEST_S, _FURTHEST_S + 1, _STEP_S)
    costs = {shift: _cost(seen, sky, shift, floor, spread) for shift in shifts}
    least = min(costs.values())
    if least > _CLEARLY + 1.5 * len(seen):
        reason = "its brightness is like no dusk, dawn or night: lamps, a covered lens, or wrong settings"
        return SunSpan(sureness=Sureness.UNTOLD, reason=reason)
    agrees = sorted((shift for shift, cost in costs.items() if cost <= least + _AGREES), key=abs)
    # Of several spans the one with the smallest shift is meant: a dark picture fits any dark hour.
    low = high = agrees[0]
    inside = set(agrees)
    while low - _STEP_S in inside:
        low -= _STEP_S
    while high + _STEP_S in inside:
        high += _STEP_S
    best = min(range(low, high + 1, _STEP_S), key=lambda shift: (round(costs[shift], 3), abs(shift)))
    told = SunSpan(
        sureness=Sureness.SURE if costs[0] - least > _CLEARLY else Sureness.LIKELY,
        best=best,
        low=low - _STEP_S,
        high=high + _STEP_S,
        open=low == -_FURTHEST_S or high == _FURTHEST_S,
    )
    if told.right and (high - low > 4 * 3600 or told.open):
        reason = (
            "its frames saw neither dusk nor dawn"
            if all(s <= floor for _, s in seen)
            else "too little changed"
        )
        return SunSpan(sureness=Sureness.UNTOLD, best=best, low=low, high=high, open=told.open, reason=reason)
    return told


class _Sky:
    """The light of a clear sky over a site in stops, by moments rounded to half a step."""

    def __init__(self, site: Site) -> None:
        self._altitudes = Altitudes(site)
        self._held: dict[int, float] = {}

    def stops(self, at: float) -> float:
        number = round(at / _STEP_S * 2)
        if number not in self._held:
            moment = datetime.fromtimestamp(number * _STEP_S / 2, UTC)
            self._held[number] = _stops(illuminance(self._altitudes.at(moment)[0]))
        return self._held[number]


def _stops(lux: float) -> float:
    """Mean scene brightness under a light, where sky and land are half as bright as white paper."""
    return math.log2(lux / math.pi / 2 / _SATURATED)


def _binned(points: Iterable[CurvePoint]) -> list[tuple[float, float]]:
    """Middle and median of every five minutes that have points."""
    bins: dict[int, list[CurvePoint]] = {}
    for point in points:
        bins.setdefault(int(point.at // _BIN_S), []).append(point)
    return [
        (median(p.at for p in group), median(p.stops for p in group)) for _, group in sorted(bins.items())
    ]


def _cost(
    seen: list[tuple[float, float]], sky: _Sky, shift: float, floor: float, level_spread: float
) -> float:
    """Chi-square of a shift, at the level of the curve that makes it least."""
    told = [(stops, sky.stops(at + shift)) for at, stops in seen]
    # Neighbouring bins stray together: half of them count.
    return min(
        (level / level_spread) ** 2
        + 0.5 * sum(min(9.0, ((stops - max(light + level, floor)) / _SPREAD) ** 2) for stops, light in told)
        for level in _LEVELS
    )
