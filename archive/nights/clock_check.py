"""Whether two cameras' clocks agree, told from the brightness of the sky that both saw.

Aurora, clouds and moonlight change for all cameras of a place at once. The curve of one camera is moved
along that of the other, and where they fit best is how far the clocks are apart, if they fit clearly.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, pairwise
from operator import mul
from statistics import median

from archive.model.clocks import CurvePoint, Shift, Sureness

_WINDOWS_S = (900.0, 300.0)
"""Changes slower than over so many seconds are taken out: dusk, the sky turning, dew. Each is tried."""
_LONGEST_GAP = 2.5
"""Cadences; over a longer gap nothing is known."""
_LEAST_POINTS = 24
_LEAST_OVERLAP = 0.6
_MOST_STEPS = 1800
_BLOCKS = 6
_REACH_S = 90.0
_SURE, _LIKELY = 1e-5, 1e-3
"""Chances; unlike skies pass them about ten times as often, as generated curves show."""
_SURE_FIT, _LIKELY_FIT = 0.6, 0.45
_TOO_FEW = f"fewer than {_LEAST_POINTS} measured frames in a row"


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """A curve at even steps from ``begin``; ``there`` is 1.0 where it is known, and values 0.0 elsewhere."""

    begin: float
    step: float
    values: list[float]
    there: list[float]

    @cached_property
    def squares(self) -> list[float]:
        return [value * value for value in self.values]

    @cached_property
    def known(self) -> float:
        return sum(self.there)


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """How well two grids fit: correlation, known steps in common, and how surprising it is."""

    lag: int
    correlation: float
    count: float
    score: float = 0.0


@dataclass(frozen=True, kw_only=True)
class _Look:
    """The best shift by one window, the chance of such a fit by accident, and by how much it leads."""

    seconds: float
    correlation: float
    chance: float
    margin: float


def clock_shift(first: Iterable[CurvePoint], second: Iterable[CurvePoint]) -> Shift:
    """How many seconds must be added to the second curve's times so that both show one sky.

    Curves are brightness in stops with exposure settings taken out, at the middle of each exposure. The
    chance that unlike skies fit so well counts every shift that lies nearer to none than the best one.
    """
    one, other = _tidied(first), _tidied(second)
    if min(len(one), len(other)) < _LEAST_POINTS:
        return Shift(sureness=Sureness.UNTOLD, reason=_TOO_FEW)
    step = max(_cadence(one), _cadence(other)) / 2
    coarse = max(step, max(_known_span(one), _known_span(other)) / _MOST_STEPS)
    if min(_known_span(one), _known_span(other)) < _LEAST_POINTS * 2 * step:
        return Shift(sureness=Sureness.UNTOLD, reason=_TOO_FEW)
    looks = [
        look
        for window in _WINDOWS_S
        if (look := _look(_grid(one, coarse, window), _grid(other, coarse, window)))
    ]
    if not looks:
        return Shift(sureness=Sureness.UNTOLD, reason="the sky did not change while both measured it")
    at = min(range(len(looks)), key=lambda index: looks[index].chance)
    look, window = looks[at], _WINDOWS_S[at]
    chance = min(1.0, look.chance * len(_WINDOWS_S))
    refined, error = _refined(one, other, look.seconds, step, window)
    fit = round(look.correlation, 3)
    if chance < _SURE and look.correlation > _SURE_FIT and look.margin > 1.0:
        sureness = Sureness.SURE
    elif chance < _LIKELY and look.correlation > _LIKELY_FIT and look.margin > 0.0:
        sureness = Sureness.LIKELY
    else:
        return Shift(sureness=Sureness.UNTOLD, fit=fit, reason="the two skies fit clearly at no shift")
    return Shift(sureness=sureness, seconds=round(refined, 1), error=round(error, 1), fit=fit)


def _look(a: _Grid, b: _Grid) -> _Look | None:
    """Where two grids fit best, and how surprising that is; None where nothing changes in them."""
    found = _fits(a, b)
    if not found:
        return None
    width = _shared_width(a, b)
    fits = [_scored(fit, width) for fit in found]
    best = max(fits, key=lambda fit: fit.score)
    seconds = best.lag * a.step - (b.begin - a.begin)
    # Clocks are most often wrong by little, or by whole hours with little beside.
    hours = round(abs(seconds) / 3600)
    beside = abs(abs(seconds) - 3600 * hours)
    tries = (1 + 2 * hours) * (1 + 2 * beside / (width * a.step))
    apart = max(60.0, 3 * width * a.step) / a.step
    rivals = [fit.score for fit in fits if abs(fit.lag - best.lag) > apart]
    return _Look(
        seconds=seconds,
        correlation=best.correlation,
        chance=tries * math.erfc(best.score / math.sqrt(2)) / 2,
        margin=best.score - max(rivals, default=0.0),
    )


def _tidied(points: Iterable[CurvePoint]) -> list[CurvePoint]:
    """Points in order of time, one for each moment, without what only a single frame saw."""
    ordered = sorted(points, key=lambda point: point.at)
    ordered = [point for at, point in enumerate(ordered) if not at or point.at > ordered[at - 1].at]
    return [
        # A lamp or a satellite lights one frame of one camera: the middle of three leaves it out.
        CurvePoint(at=point.at, stops=median(each.stops for each in ordered[max(0, at - 1) : at + 2]))
        if 0 < at < len(ordered) - 1
        else point
        for at, point in enumerate(ordered)
    ]


def _cadence(points: Sequence[CurvePoint]) -> float:
    return max(1.0, median(b.at - a.at for a, b in pairwise(points)))


def _known_span(points: Sequence[CurvePoint]) -> float:
    longest = _LONGEST_GAP * _cadence(points)
    gaps = [b.at - a.at for a, b in pairwise(points)]
    return sum(gap for gap in gaps if gap <= longest)


def _grid(points: Sequence[CurvePoint], step: float, window: float) -> _Grid:
    """A curve at even steps, slow changes taken out; unknown in gaps."""
    times, begin = [point.at for point in points], points[0].at
    longest = _LONGEST_GAP * _cadence(points)
    values, there = [], []
    for number in range(int((times[-1] - begin) / step) + 1):
        at = begin + number * step
        after = min(max(1, bisect_left(times, at)), len(times) - 1)
        earlier, later = points[after - 1], points[after]
        known = later.at - earlier.at <= longest
        share = (at - earlier.at) / (later.at - earlier.at)
        values.append(earlier.stops + share * (later.stops - earlier.stops) if known else 0.0)
        there.append(1.0 if known else 0.0)
    return _Grid(begin=begin, step=step, values=_quick(values, there, window / step), there=there)


def _quick(values: Sequence[float], there: Sequence[float], window: float) -> list[float]:
    """Values less a straight line through those around each, fitted over a window of so many steps."""
    numbers = range(len(values))
    sums = [
        [0.0, *accumulate(each)]
        for each in (
            there,
            map(mul, there, numbers),
            map(mul, there, map(mul, numbers, numbers)),
            values,
            map(mul, values, numbers),
        )
    ]
    half = max(2, round(window / 2))
    left = []
    for at in numbers:
        low, high = max(0, at - half), min(len(values), at + half + 1)
        count, x, xx, y, xy = (each[high] - each[low] for each in sums)
        if not there[at] or count < 3:
            left.append(0.0)
            continue
        spread = xx - x * x / count
        slope = (xy - x * y / count) / spread if spread > 0 else 0.0
        left.append(values[at] - y / count - slope * (at - x / count))
    return left


def _fits(a: _Grid, b: _Grid, between: tuple[int, int] | None = None) -> list[_Fit]:
    """The correlation at every shift that leaves enough in common; ``lag`` steps are added to ``b``."""
    least = max(_LEAST_OVERLAP * min(a.known, b.known), 2.0)
    first, last = between or (-len(b.values) + 1, len(a.values) - 1)
    found = []
    for lag in range(first, last + 1):
        low, high = max(0, lag), min(len(a.values), lag + len(b.values))
        if high - low < least:
            continue
        mine, its = slice(low, high), slice(low - lag, high - lag)
        count = sum(map(mul, a.there[mine], b.there[its]))
        if count < least:
            continue
        one, other = sum(map(mul, a.values[mine], b.there[its])), sum(map(mul, b.values[its], a.there[mine]))
        one_square = sum(map(mul, a.squares[mine], b.there[its])) - one * one / count
        other_square = sum(map(mul, b.squares[its], a.there[mine])) - other * other / count
        both = sum(map(mul, a.values[mine], b.values[its])) - one * other / count
        if one_square > 1e-9 * count and other_square > 1e-9 * count:
            found.append(_Fit(lag=lag, correlation=both / math.sqrt(one_square * other_square), count=count))
    return found


def _shared_width(a: _Grid, b: _Grid) -> float:
    """Steps that count as one independent value where the two are compared (Bartlett 1946)."""
    most = min(len(a.values), len(b.values)) // 3
    width, one, other = 1.0, _own(a, 0), _own(b, 0)
    for lag in range(1, most):
        mine, its = _own(a, lag) / one, _own(b, lag) / other
        if mine <= 0 or its <= 0:
            break
        width += 2 * mine * its
    return width


def _own(grid: _Grid, lag: int) -> float:
    """Mean product of a grid with itself some steps later."""
    count = sum(map(mul, grid.there, grid.there[lag:]))
    return sum(map(mul, grid.values, grid.values[lag:])) / count if count else 0.0


def _scored(fit: _Fit, width: float) -> _Fit:
    """A fit with its distance from chance in standard deviations (Fisher's z of the correlation)."""
    free = fit.count / width - 3
    r = min(fit.correlation, 0.999)
    score = math.atanh(r) * math.sqrt(free) if free > 0 and r > 0 else 0.0
    return _Fit(lag=fit.lag, correlation=fit.correlation, count=fit.count, score=score)


def _refined(
    one: Sequence[CurvePoint], other: Sequence[CurvePoint], shift: float, step: float, window: float
) -> tuple[float, float]:
    """The best shift to a part of a step, and its error: how it moves when parts of a curve are left out."""
    a, b = _grid(one, step, window), _grid(other, step, window)
    span = len(a.values) // _BLOCKS
    whole = _peak(a, b, shift)
    parts = []
    for block in range(_BLOCKS):
        there = [0.0 if block * span <= at < (block + 1) * span else each for at, each in enumerate(a.there)]
        values = list(map(mul, a.values, there))
        left = _Grid(begin=a.begin, step=a.step, values=values, there=there)
        parts.append(_peak(left, b, shift))
    mean = sum(parts) / len(parts)
    spread = sum((part - mean) ** 2 for part in parts) * (len(parts) - 1) / len(parts)
    return whole, max(math.sqrt(spread), step / 10)


def _peak(a: _Grid, b: _Grid, shift: float) -> float:
    """Where two grids fit best around a shift: a parabola through the best step and its neighbours."""
    offset = b.begin - a.begin
    middle = round((shift + offset) / a.step)
    reach = math.ceil(_REACH_S / a.step)
    fits = {fit.lag: fit.correlation for fit in _fits(a, b, (middle - reach, middle + reach))}
    if not fits:
        return shift
    best = max(fits, key=lambda lag: fits[lag])
    part = 0.0
    if best - 1 in fits and best + 1 in fits:
        before, here, after = fits[best - 1], fits[best], fits[best + 1]
        bend = before - 2 * here + after
        part = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return (best + part) * a.step - offset
