"""Noise of a plane found and taken in overlapping blocks, whatever its spectrum."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import blocks
from archive.engine.kernels.rows import Rows

Plane = npt.NDArray[np.float32]

_ENOUGH, _FEWEST = 700, 40
# The scene adds to the larger coefficients of a kind: noise is told by the size that three of ten are below,
# which is so many standard deviations of a normal distribution.
_SHARE, _SIGMAS = 0.3, 0.38532
# Interpolated noise is coarser than white noise and stronger in broad coefficients, by so much at most.
_MOST = 1.75
_LEAST = 1e-9
# Blocks that hold less than so much noise in any coefficient hold none: dead black, or clipped white.
_LIVELY = 0.25


def shrunk(plane: Plane, calm: Plane, reach: float, sigma: float, rows: Rows) -> Plane:
    """A plane from its calm half-size version and what it has beyond that, without what is noise.

    plane : float32, (height, width). reach : multiples of the noise of a coefficient that are noise.
    sigma : the noise of pixels, finest grain only.
    """
    out = np.empty_like(plane)
    thresholds = np.maximum(reach * _noise(plane, calm, sigma, rows), _LEAST)
    rows.run(blocks.shrink, plane.shape[0], plane, calm, (1 / thresholds**2).astype(np.float32), out)
    return out


def _noise(plane: Plane, calm: Plane, sigma: float, rows: Rows) -> npt.NDArray[np.float64]:
    """Standard deviation of each of the 64 coefficients, blind to what stands out of noise."""
    height, width = plane.shape
    across, down = width // blocks.SIDE, height - blocks.SIDE + 1
    if across == 0 or down < 1:
        return np.full(blocks.SIDE**2, sigma)
    stride = max(2, down * across // _ENOUGH)
    out = np.empty((blocks.SIDE**2, -(-down // stride), across), np.float32)
    rows.run(blocks.sizes, out.shape[1], plane, calm, stride, out)
    found = out.reshape(blocks.SIDE**2, -1)
    lively = found.max(axis=0) > _LIVELY * sigma
    if not lively.all():
        found = found[:, lively]
    if found.shape[1] < _FEWEST:
        return np.full(blocks.SIDE**2, sigma)
    place = int(_SHARE * found.shape[1])
    noise = np.partition(found, place, axis=1)[:, place].astype(np.float64) / _SIGMAS
    return np.minimum(noise, _MOST * sigma)
