"""Square-root light and back, and the stars that smoothing must leave alone."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.numeric import smoothstep

_ZERO, _HALF, _QUARTER = np.float32(0), np.float32(0.5), np.float32(0.25)
# A 1-2-1 mean over 3 × 3 pixels leaves this share of the noise of single pixels.
_MEAN_SIGMA = np.float32(0.375)
_UNLIKELY, _CERTAIN = np.float32(2.8), np.float32(5.5)


@kernel
def to_roots(planes, offset, first, last):  # type: ignore[no-untyped-def]
    """Light → luma (r + 2 g + b) / 4, red − luma and blue − luma of square roots, in place."""
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
    """Back to light, in place; ``lost`` variances are given back: a smoothed root squares to too little."""
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

    A spot stands out in the 1-2-1 mean over 3 × 3 pixels, which noise of single pixels hardly does.
    """
    height = plane.shape[0]
    width = plane.shape[1]
    low = _UNLIKELY * _MEAN_SIGMA * sigma
    high = _CERTAIN * _MEAN_SIGMA * sigma
    column_sums = np.empty(width + 2, np.float32)
    for row in range(first, last):
        up, down = max(row - 1, 0), min(row + 1, height - 1)
        for column in range(width):
            x = np.uintp(column)
            above = plane[up, x] - smooth[up, x]
            below = plane[down, x] - smooth[down, x]
            here = plane[row, x] - smooth[row, x]
            column_sums[np.uintp(column + 1)] = _QUARTER * (above + below) + _HALF * here
        column_sums[0] = column_sums[1]
        column_sums[width + 1] = column_sums[width]
        line, calm, target = plane[row], smooth[row], out[row]
        for column in range(width):
            x = np.uintp(column)
            sides = column_sums[x] + column_sums[np.uintp(column + 2)]
            mean = _QUARTER * sides + _HALF * column_sums[np.uintp(column + 1)]
            target[x] = calm[x] + smoothstep(mean, low, high) * (line[x] - calm[x])
