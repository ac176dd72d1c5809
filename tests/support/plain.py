"""Slow, plain versions of what the engine's passes do, in float64 and whole planes at a time.

They share the tables of ``curves`` and the choice of radii with the engine, and nothing else.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from archive.engine import curves, spatial
from archive.engine.operators.sharpness import Sharpness
from archive.engine.operators.tone import LocalContrast
from archive.engine.tone import Tone

Floats = npt.NDArray[np.float64]
LUMINANCE = np.array([0.21263901, 0.71516868, 0.07219232])
DARKEST = -13.0


def luminance(planes: npt.NDArray[Any]) -> Floats:
    return np.asarray(np.tensordot(LUMINANCE, planes.astype(np.float64), axes=1))


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


def grown(small: Floats, halvings: int, shape: tuple[int, int]) -> Floats:
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


def stops(roots: Floats) -> Floats:
    return np.asarray(np.maximum(2 * np.log2(np.maximum(roots, 3e-5)), DARKEST))


def blurred(plane: Floats, sigma: float) -> Floats:
    halvings = max(0, math.floor(math.log2(sigma / 3)))
    small = plane
    for _ in range(halvings):
        small = halved(small)
    area = 4.0**halvings
    left = math.sqrt((sigma**2 - (area - 1) * (1 / 12 + 0.2)) / area)
    smooth = ndimage.gaussian_filter(small, left, mode="nearest", radius=max(1, math.ceil(3 * left)))
    return grown(smooth, halvings, (plane.shape[0], plane.shape[1]))


def looked_up(table: curves.Table, at: Floats) -> Floats:
    grid = curves.LOWEST + np.arange(len(table)) / curves.PER_STOP
    return np.interp(at, grid, table.astype(np.float64))


def toned(planes: npt.NDArray[np.float32], tone: Tone, diagonal: float) -> Floats:
    """The tone pass of one picture, float64, (3, height, width)."""
    roots = np.sqrt(np.maximum(luminance(planes), 0))
    own = stops(roots)
    added = np.zeros_like(own)
    if tone.by_surroundings or tone.local:
        slope, around = surroundings(roots, own, diagonal)
        if tone.by_surroundings:
            table = curves.regional_stops(tone.lift, tone.recovery, tone.compression, tone.headroom)
            added += looked_up(table, around)
        if tone.local:
            added += local(tone.local, own - around, around) * np.maximum(1 - slope**2, 0)
    if tone.contrast:
        added += looked_up(curves.contrast_stops(tone.contrast), own + added)
    gains = 2**added
    sigma = tone.sigma(diagonal)
    if tone.sharpness and sigma:
        gains = gains * sharper(tone.sharpness, roots, sigma)
    return planes * gains


def surroundings(roots: Floats, own: Floats, diagonal: float) -> tuple[Floats, Floats]:
    radius = max(1.0, 12 / 1000 * diagonal)
    halvings = max(0, math.floor(math.log2(radius / 5)))
    small = stops(halved(roots)) if halvings else own
    for _ in range(halvings - 1):
        small = halved(small)
    slope, offset = guided(small, small, max(1, round(radius / 2**halvings)), 0.35)
    shape = (roots.shape[0], roots.shape[1])
    slope = grown(slope, halvings, shape)
    return slope, slope * own + grown(offset, halvings, shape)


def local(step: LocalContrast, apart: Floats, around: Floats) -> Floats:
    seen = np.clip((around + 12) / 4, 0, 1)
    return step.amount * apart / (1 + np.abs(apart) / 1.5) * seen * seen * (3 - 2 * seen)


def sharper(step: Sharpness, roots: Floats, sigma: float) -> Floats:
    floor = step.floor * spatial.measured_sigma(roots.astype(np.float32))
    apart = roots - blurred(roots, sigma)
    size = np.maximum(np.abs(apart) - floor, 0)
    added = step.amount * size / (1 + size / 0.12) * np.where(apart > 0, 1, -0.6)
    lit = np.maximum(roots, 0.004)
    return np.asarray(np.clip((lit + added) / lit, 0.25, 3) ** 2)
