"""Replace samples of a mosaic that glow on their own."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel


@kernel
def replace(mosaic, black, reach, slope, read, out, first, last):  # type: ignore[no-untyped-def]
    """Rows in which lonely bright samples are the mean of their four nearest of the same colour.

    A sample is lonely when it exceeds the brightest of its eight nearest of the same colour, and twice the brightest of its
    eight direct neighbours, by ``reach`` times the noise there: even an undersampled star spills into its direct
    neighbours. black, slope, read : counts, counts² per count above black, counts². out : uint16, a copy of the mosaic.
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    for row in range(max(first, 2), min(last, height - 2)):
        for column in range(2, width - 2):
            value = np.float32(mosaic[row, column]) - black
            left, right = mosaic[row, column - 2], mosaic[row, column + 2]
            above, below = mosaic[row - 2, column], mosaic[row + 2, column]
            nearest = max(max(left, right), max(above, below))
            if value <= np.float32(nearest) - black:
                continue
            corners = max(
                max(mosaic[row - 2, column - 2], mosaic[row - 2, column + 2]),
                max(mosaic[row + 2, column - 2], mosaic[row + 2, column + 2]),
            )
            direct = max(
                max(mosaic[row, column - 1], mosaic[row, column + 1]),
                max(mosaic[row - 1, column], mosaic[row + 1, column]),
            )
            slanted = max(
                max(mosaic[row - 1, column - 1], mosaic[row - 1, column + 1]),
                max(mosaic[row + 1, column - 1], mosaic[row + 1, column + 1]),
            )
            around = np.float32(max(nearest, corners)) - black
            beside = np.float32(2) * (np.float32(max(direct, slanted)) - black)
            least = max(max(around, beside), np.float32(0))
            margin = reach * np.sqrt(slope * least + read)
            if value > least + margin:
                total = np.int64(left) + np.int64(right) + np.int64(above) + np.int64(below)
                out[row, column] = np.uint16((total + 2) // 4)
