"""Square-root light and back, and the stars that smoothing must leave alone."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.numeric import smoothstep

_ZERO, _HALF, _QUARTER = np.float32(0), np.float32(0.5), np.float32(0.25)
# A 1-2-1 mean over 3 × 3 pixels leaves this share of the noise of single pixels.
_MEAN_SIGMA = np.float32(0.375)


@kernel
def to_roots(planes, offset, first, last):  # type: ignore[no-untyped-def]
    """Red, green, blue → luma, red − luma, blue − luma of square roots, in place; luma = (r + 2 g + b) / 4."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            red = np.sqrt(max(planes[0, row, column] + offset, _ZERO))
            green = np.sqrt(max(planes[1, row, column] + offset, _ZERO))
            blue = np.sqrt(max(planes[2, row, column] + offset, _ZERO))
            luma = _QUARTER * (red + blue) + _HALF * green
            planes[0, row, column] = luma
            planes[1, row, column] = red - luma
            planes[2, row, column] = blue - luma


@kernel
def from_roots(planes, offset, red_lost, green_lost, blue_lost, first, last):  # type: ignore[no-untyped-def]
    """Back to light, in place; the ``lost`` variances are given back, as a smoothed root squares to too little."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            luma, warm, cold = planes[0, row, column], planes[1, row, column], planes[2, row, column]
            red = max(luma + warm, _ZERO)
            green = max(luma - _HALF * (warm + cold), _ZERO)
            blue = max(luma + cold, _ZERO)
            planes[0, row, column] = red * red + red_lost - offset
            planes[1, row, column] = green * green + green_lost - offset
            planes[2, row, column] = blue * blue + blue_lost - offset


@kernel
def keep_stars(plane, smooth, sigma, out, first, last):  # type: ignore[no-untyped-def]
    """The smooth plane with what was taken from it given back where it forms a spot, as faint stars do.

    A spot stands out in the mean over 3 × 3 pixels, which noise of single pixels hardly does.
    """
    height = plane.shape[0]
    width = plane.shape[1]
    low = np.float32(2.8) * _MEAN_SIGMA * sigma
    high = np.float32(5.5) * _MEAN_SIGMA * sigma
    for row in range(first, last):
        for column in range(width):
            total = _ZERO
            for j in range(-1, 2):
                y = min(max(row + j, 0), height - 1)
                for i in range(-1, 2):
                    x = min(max(column + i, 0), width - 1)
                    weight = np.float32((2 - abs(j)) * (2 - abs(i)))
                    total += weight * (plane[y, x] - smooth[y, x])
            mean = total * np.float32(1 / 16)
            share = smoothstep(mean, low, high)
            taken = plane[row, column] - smooth[row, column]
            out[row, column] = smooth[row, column] + share * taken
