"""Planes halved, grown, averaged, followed and blurred; the rim is repeated throughout."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Floats = npt.NDArray[np.float64]


def smoothstep(value: npt.ArrayLike, low: float, high: float) -> Floats:
    t = np.clip((np.asarray(value, np.float64) - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t))


def halved(plane: Floats) -> Floats:
    even = np.pad(plane, ((0, plane.shape[0] % 2), (0, plane.shape[1] % 2)), mode="edge")
    return np.asarray(even.reshape(even.shape[0] // 2, 2, even.shape[1] // 2, 2).mean(axis=(1, 3)))


def doubled(line: Floats) -> Floats:
    """Twice as many values along the last axis, at a quarter and three quarters between them."""
    padded = np.pad(line, ((0, 0), (1, 1)), mode="edge")
    out = np.empty((line.shape[0], 2 * line.shape[1]))
    out[:, ::2] = 0.75 * line + 0.25 * padded[:, :-2]
    out[:, 1::2] = 0.75 * line + 0.25 * padded[:, 2:]
    return out


def grown(small: Floats, halvings: int, shape: tuple[int, ...]) -> Floats:
    factor = 2**halvings
    places = np.clip((np.arange(shape[0]) + 0.5) / factor - 0.5, 0, small.shape[0] - 1)
    upper = places.astype(int)
    below = np.minimum(upper + 1, small.shape[0] - 1)
    rows = small[upper] + (places - upper)[:, None] * (small[below] - small[upper])
    for _ in range(halvings):
        rows = doubled(rows)
    return rows[:, : shape[1]]


def mean(plane: Floats, radius: int) -> Floats:
    padded = np.pad(plane, radius, mode="edge")
    return np.asarray(ndimage.uniform_filter(padded, 2 * radius + 1)[radius:-radius, radius:-radius])


def guided(guide: Floats, target: Floats, radius: int, tolerance: float) -> tuple[Floats, Floats]:
    slope = (mean(guide * target, radius) - mean(guide, radius) * mean(target, radius)) / (
        np.maximum(mean(guide * guide, radius) - mean(guide, radius) ** 2, 0) + tolerance
    )
    offset = mean(target, radius) - slope * mean(guide, radius)
    return mean(slope, radius), mean(offset, radius)


def blurred(plane: Floats, sigma: float) -> Floats:
    halvings = max(0, math.floor(math.log2(sigma / 3)))
    small = plane
    for _ in range(halvings):
        small = halved(small)
    area = 4.0**halvings
    left = math.sqrt((sigma**2 - (area - 1) * (1 / 12 + 0.2)) / area)
    smooth = ndimage.gaussian_filter(small, left, mode="nearest", radius=max(1, math.ceil(3 * left)))
    return grown(smooth, halvings, plane.shape)


def finest_noise(plane: npt.NDArray[Any]) -> float:
    """Standard deviation of a plane's finest variations by the median of Immerkær's mask (1996)."""
    if min(plane.shape) < 8:
        return 0.0
    mask = np.outer([1, -2, 1], [1, -2, 1])
    response = ndimage.correlate(plane.astype(np.float64), mask)[1:-1, 1:-1]
    some = response[:: max(1, plane.size // 30_000)]
    # 1.4826 median deviations of normal noise are its standard deviation; the mask makes it √36 as strong.
    return float(np.median(np.abs(some))) * 1.4826 / 6
