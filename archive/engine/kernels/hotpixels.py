"""Replace samples of a mosaic that glow on their own."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel

_ZERO = np.float32(0)
# A star, however sharp, spills at least a quarter of its peak into each direct neighbour.
_SPILL = 4


@kernel
def replace(mosaic, blacks, reach, slope, read, out, first, last):  # type: ignore[no-untyped-def]
    """Rows in which lonely bright samples are the mean of their four nearest of the same colour.

    A sample is lonely when it exceeds the brightest of its eight nearest of one colour by ``reach`` times
    the noise there, and its direct neighbours have nothing of a star's light. At the rim those opposite stand
    for neighbours that are missing.

    blacks : float32, (4,), counts, by place of the pattern. slope, read : counts² per count above black,
    counts². out : uint16, a copy of the mosaic, which has at least 3 × 3 samples.
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    stands_out = np.empty(width, np.uint8)
    held = np.empty((2, width), np.float32)
    for down in range(2):
        for column in range(width):
            held[down, column] = blacks[2 * down + (column & 1)]
    for row in range(first, min(last, height)):
        above, here, below = mosaic[_beside(row, -2, height)], mosaic[row], mosaic[_beside(row, 2, height)]
        black = held[row & 1]
        found = _marked(above, here, below, black, reach * reach, slope, read, stands_out)
        for column in (0, 1, width - 2, width - 1):
            left, right = np.uintp(_beside(column, -2, width)), np.uintp(_beside(column, 2, width))
            x = np.uintp(column)
            flag = _exceeds(above, here, below, left, x, right, black[x], reach * reach, slope, read)
            stands_out[x] = flag
            found |= flag
        if found:
            for column in range(width):
                if stands_out[column] and _lonely(mosaic, row, column):
                    left, right = _beside(column, -2, width), _beside(column, 2, width)
                    total = np.int64(here[left]) + np.int64(here[right])
                    total += np.int64(above[column]) + np.int64(below[column])
                    out[row, column] = np.uint16((total + 2) // 4)


@inlined
def _beside(place, step, count):  # type: ignore[no-untyped-def]
    """The place a step away or, beyond the rim, the one opposite."""
    there = place + step
    return there if 0 <= there < count else place - step


@kernel
def _marked(above, here, below, blacks, reach_squared, slope, read, stands_out):  # type: ignore[no-untyped-def]
    """Flags for a row but its rim, and whether there is any."""
    found = np.uint8(0)
    for column in range(2, here.shape[0] - 2):
        x, left, right = np.uintp(column), np.uintp(column - 2), np.uintp(column + 2)
        flag = _exceeds(above, here, below, left, x, right, blacks[x], reach_squared, slope, read)
        stands_out[x] = flag
        found |= flag
    return found


@inlined
def _exceeds(above, here, below, left, x, right, black, reach_squared, slope, read):  # type: ignore[no-untyped-def]
    most = max(max(here[left], here[right]), max(above[x], below[x]))
    most = max(most, max(max(above[left], above[right]), max(below[left], below[right])))
    level = max(np.float32(most) - black, _ZERO)
    excess = max(np.float32(here[x]) - black - level, _ZERO)
    return np.uint8(excess * excess > reach_squared * (slope * level + read))


@inlined
def _lonely(mosaic, row, column):  # type: ignore[no-untyped-def]
    """Whether the four direct neighbours are no brighter than the next samples of their colours.

    Those lie a knight's move away, for every place of a Bayer pattern.
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    beside = np.int64(0)
    beyond = np.int64(0)
    for near in (-1, 1):
        y, x = _beside(row, near, height), _beside(column, near, width)
        beside += np.int64(mosaic[y, column]) + np.int64(mosaic[row, x])
        for far in (-2, 2):
            beyond += np.int64(mosaic[y, _beside(column, far, width)])
            beyond += np.int64(mosaic[_beside(row, far, height), x])
    same = np.int64(0)
    for far in (-2, 2):
        same += np.int64(mosaic[row, _beside(column, far, width)])
        same += np.int64(mosaic[_beside(row, far, height), column])
    # Means times eight: four neighbours, eight beyond them, four of the sample's own colour.
    peak = 8 * np.int64(mosaic[row, column]) - 2 * same
    return _SPILL * (2 * beside - beyond) < peak
