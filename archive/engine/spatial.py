"""Passes that look at neighbours: measured noise, guided smoothing, blur; radii in output pixels."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import neighbourhood
from archive.engine.kernels.rows import Rows

Plane = npt.NDArray[np.float32]

_GRID = 5
# Pixels whose variations are looked at.
_ENOUGH = 150_000
_MAD_TO_SIGMA = 1.4826
# Standard deviation of the mask below on noise of standard deviation 1.
_MASK_GAIN = 6.0


def measured_sigma(plane: Plane) -> float:
    """Standard deviation of a plane's finest variations, blind to slopes, edges, stars (Immerkær's mask)."""
    if min(plane.shape) < 8:
        return 0.0
    rows = np.arange(1, plane.shape[0] - 1, max(1, plane.size // _ENOUGH))
    above, here, below = plane[rows - 1], plane[rows], plane[rows + 1]
    vertical = above - 2 * here + below
    response = vertical[:, :-2] - 2 * vertical[:, 1:-1] + vertical[:, 2:]
    return float(np.median(np.abs(response))) * _MAD_TO_SIGMA / _MASK_GAIN


def guided(
    guide: Plane, target: Plane, radius: float, tolerance: float, rows: Rows, *, coarse: bool
) -> Plane:
    """The target smoothed over ``radius`` pixels where the guide is plain, keeping the guide's edges.

    ``tolerance`` is the guide's variance up to which it counts as plain. ``coarse`` finds the coefficients
    on smaller planes, which is enough for what varies slowly.
    """
    factor = max(1, round(radius / _GRID)) if coarse else 1
    small_guide = shrunk(guide, factor, rows)
    small_target = small_guide if target is guide else shrunk(target, factor, rows)
    reach = max(1, round(radius / factor))
    height = small_guide.shape[0]
    squared, crossed = np.empty_like(small_guide), np.empty_like(small_guide)
    rows.run(neighbourhood.products, height, small_guide, small_target, squared, crossed)
    means = [_mean(small_guide, reach, rows)] * 2 + [_mean(squared, reach, rows)] * 2
    if target is not guide:
        means[1], means[3] = _mean(small_target, reach, rows), _mean(crossed, reach, rows)
    slope, offset = np.empty_like(small_guide), np.empty_like(small_guide)
    rows.run(neighbourhood.guided_coefficients, height, *means, np.float32(tolerance), slope, offset)
    slope, offset = _mean(slope, reach, rows), _mean(offset, reach, rows)
    out = np.empty_like(guide)
    if factor == 1:
        rows.run(neighbourhood.apply_here, guide.shape[0], guide, slope, offset, out)
        return out
    places = np.clip((np.arange(guide.shape[1]) + 0.5) / factor - 0.5, 0, slope.shape[1] - 1)
    lefts = places.astype(np.int32)
    shares = (places - lefts).astype(np.float32)
    rows.run(neighbourhood.apply_between, guide.shape[0], guide, slope, offset, factor, lefts, shares, out)
    return out


def shrunk(plane: Plane, factor: int, rows: Rows) -> Plane:
    """A plane ``factor`` times smaller, by area means."""
    if factor == 1:
        return plane
    height, width = plane.shape
    out = np.empty((-(-height // factor), -(-width // factor)), np.float32)
    rows.run(neighbourhood.shrink, out.shape[0], plane, factor, out)
    return out


def blurred(plane: Plane, sigma: float, rows: Rows) -> Plane:
    """A plane smoothed by a Gaussian of ``sigma`` pixels."""
    reach = max(1, math.ceil(3 * sigma))
    weights = np.exp(-0.5 * (np.arange(reach + 1) / sigma) ** 2)
    weights = np.round(weights / (weights[0] + 2 * weights[1:].sum()), 8).astype(np.float32)
    down, out = np.empty_like(plane), np.empty_like(plane)
    rows.run(neighbourhood.blur_down, plane.shape[0], plane, weights, down)
    rows.run(neighbourhood.blur_across, plane.shape[0], down, weights, out)
    return out


def _mean(plane: Plane, radius: int, rows: Rows) -> Plane:
    out = np.empty_like(plane)
    rows.run(neighbourhood.box_mean, plane.shape[0], plane, radius, out)
    return out
