"""Passes that look at neighbours: measured noise, halved sizes, guided coefficients, blur."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import neighbourhood
from archive.engine.kernels.rows import Rows

Plane = npt.NDArray[np.float32]

# Pixels whose variations are looked at.
_ENOUGH = 30_000
_MAD_TO_SIGMA = 1.4826
# Values beside each other that are dead or not together.
_RUN = 32
LIVELY = 0.4
"""A picture of which less varies at all is a drawing."""
DEAD = 1e-6
"""What varies by no more does so by rounding, where light of 1 is clipping."""
# Standard deviation of the mask below on noise of standard deviation 1.
_MASK_GAIN = 6.0
# A Gaussian wider than this, in pixels, is found on smaller planes.
_WIDE = 3.0


def measured_sigma(plane: Plane) -> float:
    """Standard deviation of a plane's finest variations, blind to slopes, edges, stars (Immerkær's mask)."""
    if min(plane.shape) < 8:
        return 0.0
    rows = np.arange(1, plane.shape[0] - 1, max(1, plane.size // _ENOUGH))
    above, here, below = plane[rows - 1], plane[rows], plane[rows + 1]
    vertical = above - 2 * here + below
    response = vertical[:, :-2] - 2 * vertical[:, 1:-1] + vertical[:, 2:]
    return spread(response) / _MASK_GAIN


def spread(values: npt.NDArray[np.float32]) -> float:
    """Standard deviation of values about 0, at least one, by the median of their sizes.

    Runs of values that are all next to nothing are left out, unless most are: the dead black around a round
    picture has no noise, but the edges in a drawing are none.
    """
    sizes = np.abs(values).ravel()
    runs = sizes[: sizes.size // _RUN * _RUN].reshape(-1, _RUN)
    lively = runs.max(axis=1) > DEAD
    if LIVELY * len(runs) <= lively.sum() < len(runs):
        sizes = np.append(runs[lively], sizes[runs.size :])
    half = sizes.size // 2
    # Parted at one place, which numpy does ten times as quickly as at the two of its median.
    parted = np.partition(sizes, half)
    middle = parted[half] if sizes.size % 2 else (parted[:half].max() + parted[half]) / 2
    return float(middle) * _MAD_TO_SIGMA


def halved(plane: Plane, rows: Rows) -> Plane:
    """A plane half the size, by means over 2 × 2 pixels."""
    height, width = plane.shape
    out = np.empty((-(-height // 2), -(-width // 2)), np.float32)
    rows.run(neighbourhood.halve, out.shape[0], plane, out)
    return out


def halvings_for(radius: float, least: float) -> int:
    """How often a plane can be halved so that ``radius`` pixels are still at least ``least`` of them."""
    return max(0, math.floor(math.log2(max(radius, 1e-3) / least)))


def guided(guide: Plane, target: Plane, radius: int, tolerance: float, rows: Rows) -> tuple[Plane, Plane]:
    """Slope and offset by which the target follows the guide, averaged over a radius of pixels.

    The target is smoothed where the guide varies by less than ``tolerance`` (a variance), and keeps its edges
    where the guide has them: target ≈ slope · guide + offset.
    """
    height = guide.shape[0]
    slope, offset = np.empty_like(guide), np.empty_like(guide)
    rows.run(
        neighbourhood.guided_coefficients, height, guide, target, radius, np.float32(tolerance), slope, offset
    )
    return mean(slope, radius, rows), mean(offset, radius, rows)


def mean(plane: Plane, radius: int, rows: Rows) -> Plane:
    """Means over (2 · radius + 1)² pixels."""
    out = np.empty_like(plane)
    rows.run(neighbourhood.box_mean, plane.shape[0], plane, radius, out)
    return out


def gaussian(sigma: float) -> Plane:
    """Weights of a Gaussian of ``sigma`` pixels, from its centre outwards."""
    reach = max(1, math.ceil(3 * sigma))
    weights = np.exp(-0.5 * (np.arange(reach + 1) / sigma) ** 2)
    return np.asarray(np.round(weights / (weights[0] + 2 * weights[1:].sum()), 8), np.float32)


def is_wide(sigma: float) -> bool:
    """Whether a Gaussian of ``sigma`` pixels is found on smaller planes."""
    return halvings_for(sigma, _WIDE) > 0


def blurred(plane: Plane, sigma: float, rows: Rows) -> Plane:
    """A plane smoothed by a Gaussian of ``sigma`` pixels; wide ones are found on smaller planes."""
    out = np.empty_like(plane)
    halvings = halvings_for(sigma, _WIDE)
    if halvings == 0:
        rows.run(neighbourhood.blur, plane.shape[0], plane, gaussian(sigma), out)
        return out
    small = plane
    for _ in range(halvings):
        small = halved(small, rows)
    # Halving and growing smooth by themselves.
    area = 4.0**halvings
    left = math.sqrt((sigma * sigma - (area - 1) * (1 / 12 + 0.2)) / area)
    smooth = np.empty_like(small)
    rows.run(neighbourhood.blur, small.shape[0], small, gaussian(left), smooth)
    rows.run(neighbourhood.grow, plane.shape[0], smooth, halvings, out)
    return out
