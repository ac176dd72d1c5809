"""Values that change along a selection: linear, or monotone cubic that never overshoots its anchors."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from itertools import pairwise

from archive.model.capture import Selection
from archive.model.recipe import Anchor, Ramp, Recipe

RULES = ("linear", "monotone-cubic")
SCALES = ("linear", "reciprocal")


def value_at(ramp: Ramp, selection: Selection, frame: str) -> float:
    """The ramp's value at a frame of its selection, rounded as the ramp says.

    Time runs on the milliseconds stored with the selection, so that clocks corrected later change
    nothing. Outside the anchors the value is held flat.

    Raises
    ------
    ValueError : when the frame or an anchor is not in the selection, or rule or scale are unknown.
    """
    if ramp.rule not in RULES or ramp.scale not in SCALES:
        raise ValueError(
            f"a ramp of rule {ramp.rule!r} and scale {ramp.scale!r} is not known to this release"
        )
    moments = selection.moments
    strangers = [name for name in (frame, *(a.frame for a in ramp.anchors)) if name not in moments]
    if strangers:
        raise ValueError(f"{strangers[0]} is not in the selection of the ramp {ramp.parameter}")
    knots = sorted((moments[a.frame], a.value) for a in ramp.anchors)
    xs = [float(x) for x, _ in knots]
    if len(set(xs)) != len(xs):
        raise ValueError(f"two anchors of the ramp {ramp.parameter} stand at the same time")
    ys = [1.0 / y if ramp.scale == "reciprocal" else float(y) for _, y in knots]
    moment = float(moments[frame])
    natural = linear(xs, ys, moment) if ramp.rule == "linear" else monotone_cubic(xs, ys, moment)
    value = 1.0 / natural if ramp.scale == "reciprocal" else natural
    return round(round(value / ramp.rounding) * ramp.rounding, 9) if ramp.rounding > 0 else value


def neighbours(ramp: Ramp, selection: Selection, frame: str) -> tuple[Anchor | None, Anchor | None]:
    """The anchors before (or at) and after a frame of the selection; None where there is none."""
    moment = selection.moments[frame]
    placed = sorted(((selection.moments[a.frame], a) for a in ramp.anchors), key=lambda pair: pair[0])
    before = [anchor for x, anchor in placed if x <= moment]
    after = [anchor for x, anchor in placed if x > moment]
    return (before[-1] if before else None), (after[0] if after else None)


def check_ramps(recipe: Recipe, own: Selection | None, listed: Mapping[str, Selection]) -> None:
    """Nothing, for ramps that can be evaluated wherever their version speaks.

    ``own`` is the selection that the version speaks about, ``listed`` those that its entry lists.

    Raises
    ------
    ValueError : for a rule, selection or anchor that is not known, or two anchors at one time.
    """
    for ramp in recipe.ramps:
        along = own if ramp.along is None else listed.get(ramp.along)
        if own is None or along is None:
            raise ValueError(f"the ramp {ramp.parameter} runs along no selection that its entry lists")
        for frame in own.frames[:1]:
            value_at(ramp, along, frame)
        strange = next((frame for frame in own.frames if frame not in along.moments), None)
        if strange is not None:
            raise ValueError(f"the ramp {ramp.parameter} does not reach {strange}")


def linear(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Straight lines between anchors, flat outside."""
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_right(xs, x) - 1
    share = (x - xs[i]) / (xs[i + 1] - xs[i])
    return ys[i] + share * (ys[i + 1] - ys[i])


def monotone_cubic(xs: Sequence[float], ys: Sequence[float], x: float) -> float:
    """Cubic Hermite pieces with the slopes of Fritsch and Butland (1984), flat outside the anchors."""
    if len(xs) < 3 or x <= xs[0] or x >= xs[-1]:
        return linear(xs, ys, x)
    slopes = _slopes(xs, ys)
    i = bisect_right(xs, x) - 1
    h = xs[i + 1] - xs[i]
    t = (x - xs[i]) / h
    return (
        ys[i] * (1 + 2 * t) * (1 - t) ** 2
        + ys[i + 1] * t**2 * (3 - 2 * t)
        + h * (slopes[i] * t * (1 - t) ** 2 - slopes[i + 1] * t**2 * (1 - t))
    )


def _slopes(xs: Sequence[float], ys: Sequence[float]) -> list[float]:
    h = [b - a for a, b in pairwise(xs)]
    d = [(b - a) / step for (a, b), step in zip(pairwise(ys), h, strict=True)]
    slopes = [_end_slope(h[0], h[1], d[0], d[1])]
    for i in range(1, len(xs) - 1):
        if d[i - 1] * d[i] <= 0:
            slopes.append(0.0)
            continue
        w1, w2 = 2 * h[i] + h[i - 1], h[i] + 2 * h[i - 1]
        slopes.append((w1 + w2) / (w1 / d[i - 1] + w2 / d[i]))
    slopes.append(_end_slope(h[-1], h[-2], d[-1], d[-2]))
    return slopes


def _end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    """One-sided three-point slope, kept from overshooting."""
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0:
        return 0.0
    if d0 * d1 <= 0 and abs(slope) > 3 * abs(d0):
        return 3 * d0
    return slope
