"""Planes at another size or along a curved map, by dense weights."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from support.plain.planes import Floats

Shares = Callable[[Floats], Floats]


@lru_cache(maxsize=64)
def area_shares(
    count: int, start: float, length: float, samples: int, pitch: int = 1, phase: int = 0
) -> Floats:
    """How much of each source sample an output sample has, (count, samples), for the interval from ``start``.

    Samples lie at phase + ½ and then every ``pitch``, and are as wide; an output sample is as wide as its
    step, or as a source sample if that is wider. What they have in common is tilted so that its centre of
    gravity is the output sample's, unless that took more than all from one.
    """
    step = length / count
    wide = max(step, pitch)
    made = np.zeros((count, samples))
    for row in range(count):
        apart = np.arange(samples) * pitch + phase + 0.5 - (start + (row + 0.5) * step)
        common = np.minimum(apart + pitch / 2, wide / 2) - np.maximum(apart - pitch / 2, -wide / 2)
        shares = np.maximum(common, 0)
        if not shares.any():
            shares[np.abs(apart).argmin()] = 1
        shares /= shares.sum()
        off = (shares * apart).sum()
        spread = (shares * apart**2).sum() - off**2
        if spread > 1e-6:
            tilted = shares * (1 - off / spread * (apart - off))
            shares = tilted if (tilted >= 0).all() else shares
        made[row] = shares
    return made


def averaged(span: float) -> Shares:
    """Shares of samples at these offsets of an average over ``span`` samples, centred where it is wanted."""

    def shares(offsets: Floats) -> Floats:
        common = np.clip((span + 1) / 2 - np.abs(offsets), 0, 1) / span
        off = (common * offsets).sum(axis=0)
        spread = np.maximum((common * offsets**2).sum(axis=0) - off**2, 1e-3)
        return np.asarray(common * (1 - off / spread * (offsets - off)))

    return shares


def cubic(offsets: Floats) -> Floats:
    """Catmull and Rom's shares of samples at these offsets."""
    d = np.abs(offsets)
    near, far = 1.5 * d**3 - 2.5 * d**2 + 1, -0.5 * d**3 + 2.5 * d**2 - 4 * d + 2
    return np.where(d < 1, near, np.where(d < 2, far, 0))


def read_off(values: npt.NDArray[Any], places: Floats, shares: Shares, span: float) -> Floats:
    """What lies at places along the first axis of ``values``, whose outermost go on.

    values : (samples,), or (samples, places) where each place has its own.
    """
    reach = math.ceil(span / 2) + 3
    at = np.floor(places).astype(int) + np.arange(-reach, reach + 1)[:, None]
    held = np.clip(at, 0, len(values) - 1)
    there = values[held] if values.ndim == 1 else np.take_along_axis(values, held, axis=0)
    return np.asarray((shares(at - places) * there).sum(axis=0))


def warped(
    plane: npt.NDArray[Any],
    knots: tuple[Floats, Floats],
    shape: tuple[int, int],
    spans: tuple[float, float],
    *,
    step: int = 16,
) -> Floats:
    """A plane along a curved map: each row of the output cuts the plane's columns where it crosses them.

    knots : places of the output's pixels at multiples of ``step``, in samples of the plane, 0 the first one's
    centre; straight between. spans : samples across and down that one pixel averages, 0 for an interpolation.
    """
    span_across, span_down = spans
    weigh_across, weigh_down = (averaged(span) if span else cubic for span in spans)
    columns = np.arange(plane.shape[1])
    out = np.empty(shape)
    for row in range(shape[0]):
        upper, part = divmod(row, step)
        x, y = (
            each[upper] + (each[upper + 1] - each[upper]) * part / step if part else each[upper]
            for each in knots
        )
        cut = read_off(plane, straight(columns, x, y), weigh_down, span_down)
        there = np.interp(np.arange(shape[1]), np.arange(len(x)) * step, x)
        there = np.clip(there, -0.5, plane.shape[1] - 0.5)
        out[row] = read_off(cut, there, weigh_across, span_across)
    return out


def straight(at: npt.NDArray[Any], x: Floats, y: Floats) -> Floats:
    """Heights of a line through points, which goes on straight beyond the first and the last."""
    slopes = np.diff(y) / np.diff(x)
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(slopes) - 1)
    return np.asarray(y[piece] + (at - x[piece]) * slopes[piece])
