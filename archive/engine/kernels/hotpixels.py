"""Replace samples of a mosaic that glow on their own."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel

_ZERO = np.float32(0)
# A star, however sharp, spills at least a quarter of its peak into each direct neighbour.
_SPILL = 4


@kernel
def replace(mosaic, black, reach, slope, read, out, first, last):  # type: ignore[no-untyped-def]
    """Rows in which lonely bright samples are the mean of their four nearest of the same colour.

    A sample is lonely when it exceeds the brightest of its eight nearest of one colour by ``reach`` times
    the noise there, and its direct neighbours have nothing of a star's light.

    black, slope, read : counts, counts² per count above black, counts². out : uint16, a copy of the mosaic.
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    stands_out = np.empty(width, np.uint8)
    reach_squared = reach * reach
    for row in range(max(first, 2), min(last, height - 2)):
        above, here, below = mosaic[row - 2], mosaic[row], mosaic[row + 2]
        found = np.uint8(0)
        for column in range(2, width - 2):
            x, left, right = np.uintp(column), np.uintp(column - 2), np.uintp(column + 2)
            most = max(max(here[left], here[right]), max(above[x], below[x]))
            most = max(most, max(max(above[left], above[right]), max(below[left], below[right])))
            level = max(np.float32(most) - black, _ZERO)
            excess = max(np.float32(here[x]) - black - level, _ZERO)
            flag = np.uint8(excess * excess > reach_squared * (slope * level + read))
            stands_out[x] = flag
            found |= flag
        if found:
            for column in range(2, width - 2):
                if stands_out[column] and _lonely(mosaic, row, column):
                    total = np.int64(here[column - 2]) + np.int64(here[column + 2])
                    total += np.int64(above[column]) + np.int64(below[column])
                    out[row, column] = np.uint16((total + 2) // 4)


@inlined
def _lonely(mosaic, row, column):  # type: ignore[no-untyped-def]
    """Whether the four direct neighbours are no brighter than the next samples of their colours.

    Those lie a knight's move away, for every place of a Bayer pattern.
    """
    beside = np.int64(0)
    beyond = np.int64(0)
    for near in (-1, 1):
        beside += np.int64(mosaic[row + near, column]) + np.int64(mosaic[row, column + near])
        for far in (-2, 2):
            beyond += np.int64(mosaic[row + near, column + far]) + np.int64(mosaic[row + far, column + near])
    same = np.int64(mosaic[row, column - 2]) + np.int64(mosaic[row, column + 2])
    same += np.int64(mosaic[row - 2, column]) + np.int64(mosaic[row + 2, column])
    # Means times eight: four neighbours, eight beyond them, four of the sample's own colour.
    peak = 8 * np.int64(mosaic[row, column]) - 2 * same
    return _SPILL * (2 * beside - beyond) < peak
