"""When a smooth height passes a level within a span of time, however shortly and however near the ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

Height = Callable[[float], float]
"""A height in degrees at so many seconds after the begin of the span."""

_STEP_S, _SLOPE_S = 4 * 3600.0, 10.0
_CLOSE_S, _TURN_CLOSE_S = 0.02, 2.0


def turns(height: Height, span_s: float) -> list[float]:
    """The ends of the span, and between them where the height turns: it rises or falls from each to the next.

    No two turns may be less than four hours apart, as those of sun and moon are not.
    """

    def slope(at: float) -> float:
        return height(at + _SLOPE_S) - height(at - _SLOPE_S)

    steps = max(1, round(span_s / _STEP_S))
    edges = [span_s * step / steps for step in range(steps + 1)]
    slopes = [slope(edge) for edge in edges]
    found = [
        _root(slope, *between, _TURN_CLOSE_S)
        for between, (before, after) in zip(pairwise(edges), pairwise(slopes), strict=True)
        if (before < 0) != (after < 0)
    ]
    return [0.0, *found, span_s]


def crossings(height: Height, turning: Sequence[float], level: float, *, rising: bool) -> list[float]:
    """The seconds at which the height passes a level upwards, or downwards, among the turns of a span."""

    def above(at: float) -> float:
        return height(at) - level

    way = 1 if rising else -1
    heights = [way * above(at) for at in turning]
    return [
        _root(above, *between, _CLOSE_S)
        for between, (before, after) in zip(pairwise(turning), pairwise(heights), strict=True)
        if before < 0 <= after
    ]


def _root(value: Height, low: float, high: float, close: float) -> float:
    """Where a value changes its sign: false position (Illinois), halving each third time for flat curves."""
    at_low, at_high = value(low), value(high)
    step, stayed = 0, 0
    while high - low > close:
        step += 1
        found = (low * at_high - high * at_low) / (at_high - at_low) if step % 3 else (low + high) / 2
        there = value(found)
        if (there < 0) == (at_low < 0):
            low, at_low = found, there
            at_high, stayed = (at_high / 2 if stayed > 0 else at_high), 1
        else:
            high, at_high = found, there
            at_low, stayed = (at_low / 2 if stayed < 0 else at_low), -1
    return (low + high) / 2
