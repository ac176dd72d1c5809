"""Replace samples of a mosaic that glow on their own."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel

_ZERO = np.float32(0)
# A star, however sharp, spills at least a quarter of its peak into each direct neighbour.
_SPILL = 4
# Samples looked at together.
_TOGETHER = 128
# Above so many counts more light is not asked to stand out by more, at the first look.
_BRIGHT = 1 << 14
_MOST, _WHOLE = np.float32(65535), np.float32(65536)


@kernel
def replace(mosaic, blacks, reach, slope, read, out, first, last):  # type: ignore[no-untyped-def]
    """Rows in which lonely bright samples are the mean of their four nearest of the same colour.

    A sample is lonely when it exceeds the brightest of its eight nearest of one colour by ``reach`` times
    the noise there, and its direct neighbours have nothing of a star's light. At the rim those opposite stand
    for neighbours that are missing.

    mosaic, out : uint16, (height, width), at least 3 × 3. blacks : float32, (4,), counts, by place of the
    pattern. slope, read : counts² per count above black, counts².
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    black = np.uint16(min(max(np.ceil(blacks.max()), _ZERO), _MOST))
    # Noise grows as a root does: a straight line between its ends is nowhere above it.
    dark = np.sqrt(max(read, _ZERO))
    bright = np.sqrt(max(slope * np.float32(_BRIGHT) + read, _ZERO))
    least = np.uint16(min(max(reach * dark - np.float32(1), _ZERO), _MOST))
    share = np.uint16(min(max(reach * (bright - dark) * (_WHOLE / np.float32(_BRIGHT)), _ZERO), _MOST))
    found = np.empty(max(width - 4 + _TOGETHER - 1, 0) // _TOGETHER, np.uint16)
    for row in range(first, min(last, height)):
        above, here, below = mosaic[_beside(row, -2, height)], mosaic[row], mosaic[_beside(row, 2, height)]
        _scan(above, here, below, black, least, share, out[row], found)
        for place in range(found.shape[0]):
            if found[place]:
                start = 2 + place * _TOGETHER
                for column in range(start, min(start + _TOGETHER, width - 2)):
                    if _may_glow(above, here, below, np.uintp(column), black, least, share):
                        _judge(mosaic, row, column, blacks, reach, slope, read, out)
        for column in (0, 1, width - 2, width - 1):
            out[row, column] = here[column]
            _judge(mosaic, row, column, blacks, reach, slope, read, out)


@kernel
def _scan(above, here, below, black, least, share, out, found):  # type: ignore[no-untyped-def]
    """Copy a row but its rim, and tell of every so many samples together whether one may glow."""
    for place in range(found.shape[0]):
        start = 2 + place * _TOGETHER
        some = np.uint16(0)
        for column in range(start, min(start + _TOGETHER, here.shape[0] - 2)):
            x = np.uintp(column)
            out[x] = here[x]
            some = np.uint16(some | _may_glow(above, here, below, x, black, least, share))
        found[place] = some


@inlined
def _may_glow(above, here, below, x, black, least, share):  # type: ignore[no-untyped-def]
    """Whether a sample exceeds its eight nearest of one colour by nearly as much as one that glows.

    In whole numbers of 16 bits, of which a processor compares many at once.
    """
    left, right = x - np.uintp(2), x + np.uintp(2)
    most = max(max(here[left], here[right]), max(above[x], below[x]))
    most = max(most, max(max(above[left], above[right]), max(below[left], below[right])))
    beyond = np.uint16(np.uint16(max(here[x], most)) - most)
    level = min(np.uint16(np.uint16(max(most, black)) - black), np.uint16(_BRIGHT))
    more = np.uint16(np.uint32(np.uint32(level) * np.uint32(share)) >> np.uint32(16))
    # Two comparisons, since a sum may be too large.
    return np.uint16(beyond > least) & np.uint16(np.uint16(beyond - least) > more)


@inlined
def _beside(place, step, count):  # type: ignore[no-untyped-def]
    """The place a step away or, beyond the rim, the one opposite."""
    there = place + step
    return there if 0 <= there < count else place - step


@kernel
def _judge(mosaic, row, column, blacks, reach, slope, read, out):  # type: ignore[no-untyped-def]
    """Replace a sample if it is lonely."""
    upper, lower = _beside(row, -2, mosaic.shape[0]), _beside(row, 2, mosaic.shape[0])
    left, right = _beside(column, -2, mosaic.shape[1]), _beside(column, 2, mosaic.shape[1])
    beside = max(
        max(mosaic[row, left], mosaic[row, right]), max(mosaic[upper, column], mosaic[lower, column])
    )
    corners = max(
        max(mosaic[upper, left], mosaic[upper, right]), max(mosaic[lower, left], mosaic[lower, right])
    )
    black = blacks[2 * (row & 1) + (column & 1)]
    level = max(np.float32(max(beside, corners)) - black, _ZERO)
    excess = max(np.float32(mosaic[row, column]) - black - level, _ZERO)
    if excess * excess > reach * reach * (slope * level + read) and _lonely(mosaic, row, column):
        total = np.int64(mosaic[row, left]) + np.int64(mosaic[row, right])
        total += np.int64(mosaic[upper, column]) + np.int64(mosaic[lower, column])
        out[row, column] = np.uint16((total + 2) // 4)


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
