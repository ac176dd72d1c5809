"""Replace samples of a mosaic that glow on their own."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel

_ZERO, _TWO = np.float32(0), np.float32(2)


@kernel
def replace(mosaic, black, reach, slope, read, out, first, last):  # type: ignore[no-untyped-def]
    """Rows in which lonely bright samples are the mean of their four nearest of the same colour.

    A sample is lonely when it exceeds the brightest of its eight nearest of the same colour, and twice the
    brightest of its eight direct neighbours, by ``reach`` times the noise there: even an undersampled star
    spills into its direct neighbours. black, slope, read : counts, counts² per count above black, counts².
    out : uint16, a copy of the mosaic.
    """
    height = mosaic.shape[0]
    width = mosaic.shape[1]
    lonely = np.empty(width, np.uint8)
    reach_squared = reach * reach
    for row in range(max(first, 2), min(last, height - 2)):
        above2, above, here = mosaic[row - 2], mosaic[row - 1], mosaic[row]
        below, below2 = mosaic[row + 1], mosaic[row + 2]
        found = np.uint8(0)
        for column in range(2, width - 2):
            x, left, right = np.uintp(column), np.uintp(column - 1), np.uintp(column + 1)
            left2, right2 = np.uintp(column - 2), np.uintp(column + 2)
            same = max(max(here[left2], here[right2]), max(above2[x], below2[x]))
            same = max(same, max(max(above2[left2], above2[right2]), max(below2[left2], below2[right2])))
            direct = max(max(here[left], here[right]), max(above[x], below[x]))
            direct = max(direct, max(max(above[left], above[right]), max(below[left], below[right])))
            beside = _TWO * (np.float32(direct) - black)
            least = max(max(np.float32(same) - black, beside), _ZERO)
            excess = max(np.float32(here[x]) - black - least, _ZERO)
            stands = np.uint8(excess * excess > reach_squared * (slope * least + read))
            lonely[x] = stands
            found |= stands
        if found:
            for column in range(2, width - 2):
                if lonely[column]:
                    total = np.int64(here[column - 2]) + np.int64(here[column + 2])
                    total += np.int64(above2[column]) + np.int64(below2[column])
                    out[row, column] = np.uint16((total + 2) // 4)
