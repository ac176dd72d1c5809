"""Means over square neighbourhoods, guided-filter coefficients, and moving planes between sizes.

Every sum is taken anew for every pixel, in an order that depends on nothing but the radius: the picture is
the same in whatever pieces it is made. Beyond the rim the outermost pixels are repeated.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.numeric import clear

_ZERO, _HALF, _ONE = np.float32(0), np.float32(0.5), np.float32(1)
_QUARTER, _THREE_QUARTERS = np.float32(0.25), np.float32(0.75)


@kernel
def window_sums(line, radius, spare, out):  # type: ignore[no-untyped-def]
    """out[i] = sum of line[i] … line[i + 2 · radius], by doubling; ``line`` is used up.

    line, spare : float32, as long as ``out`` and 2 · radius more.
    """
    count = out.shape[0]
    for column in range(count):
        out[np.uintp(column)] = _ZERO
    left = 2 * radius + 1
    width = 1
    start = 0
    source, other = line, spare
    while left > 0:
        if left & 1:
            shifted = source[start:]
            for column in range(count):
                out[np.uintp(column)] += shifted[np.uintp(column)]
            start += width
        left >>= 1
        if left > 0:
            # The last entries have no partner left and are not needed again.
            ahead = source[width:]
            for column in range(count + 2 * radius - 2 * width + 1):
                other[np.uintp(column)] = source[np.uintp(column)] + ahead[np.uintp(column)]
            source, other = other, source
            width *= 2


@inlined
def extend(line, radius, width):  # type: ignore[no-untyped-def]
    """Repeat the outermost of ``width`` values that begin at ``radius``."""
    for k in range(radius):
        line[k] = line[radius]
        line[width + radius + k] = line[width + radius - 1]


@kernel
def box_mean(source, radius, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over (2 · radius + 1)² pixels. source, out : float32, (height, width)."""
    height = source.shape[0]
    width = source.shape[1]
    sums = np.empty(width + 2 * radius, np.float32)
    spare = np.empty(width + 2 * radius, np.float32)
    share = _ONE / np.float32((2 * radius + 1) * (2 * radius + 1))
    for row in range(first, last):
        middle = sums[radius:]
        for column in range(width):
            middle[np.uintp(column)] = _ZERO
        for k in range(-radius, radius + 1):
            line = source[min(max(row + k, 0), height - 1)]
            for column in range(width):
                middle[np.uintp(column)] += line[np.uintp(column)]
        extend(sums, radius, width)
        target = out[row]
        window_sums(sums, radius, spare, target)
        for column in range(width):
            target[np.uintp(column)] *= share


@kernel
def guided_coefficients(  # type: ignore[no-untyped-def]
    guide, target, radius, tolerance, slope, offset, first, last
):
    """Where the guide varies by more than ``tolerance`` (variance) the target follows it, else its mean.

    guide, target, slope, offset : float32, (height, width); target ≈ slope · guide + offset in the window.
    """
    height = guide.shape[0]
    width = guide.shape[1]
    sums = np.empty((4, width + 2 * radius), np.float32)
    means = np.empty((4, width), np.float32)
    spare = np.empty(width + 2 * radius, np.float32)
    share = _ONE / np.float32((2 * radius + 1) * (2 * radius + 1))
    # Deviations from a value nearby, so that squares of large numbers do not cancel.
    for row in range(first, last):
        level = guide[row, width // 2]
        aim_level = target[row, width // 2]
        light_sum, aim_sum = sums[0, radius:], sums[1, radius:]
        square_sum, both_sum = sums[2, radius:], sums[3, radius:]
        for k in range(4):
            clear(sums[k, radius:], width)
        for k in range(-radius, radius + 1):
            lights = guide[min(max(row + k, 0), height - 1)]
            aims = target[min(max(row + k, 0), height - 1)]
            # Two short loops, which the compiler takes for independent; one long one it does not.
            for column in range(width):
                x = np.uintp(column)
                light = lights[x] - level
                light_sum[x] += light
                square_sum[x] += light * light
            for column in range(width):
                x = np.uintp(column)
                aim = aims[x] - aim_level
                aim_sum[x] += aim
                both_sum[x] += (lights[x] - level) * aim
        for k in range(4):
            extend(sums[k], radius, width)
            window_sums(sums[k], radius, spare, means[k])
        light_mean, aim_mean, square_mean, both_mean = means[0], means[1], means[2], means[3]
        slopes, offsets = slope[row], offset[row]
        for column in range(width):
            x = np.uintp(column)
            light, aim = light_mean[x] * share, aim_mean[x] * share
            variance = max(square_mean[x] * share - light * light, _ZERO)
            steepness = (both_mean[x] * share - light * aim) / (variance + tolerance)
            slopes[x] = steepness
            offsets[x] = aim + aim_level - steepness * (light + level)


@kernel
def halve(source, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over 2 × 2 pixels. out : float32, half the size, rounded up; a missing pixel repeats the last."""
    height = source.shape[0]
    width = source.shape[1]
    whole = width // 2
    for row in range(first, last):
        above = source[2 * row]
        below = source[min(2 * row + 1, height - 1)]
        target = out[row]
        for column in range(whole):
            x, right = np.uintp(2 * column), np.uintp(2 * column + 1)
            target[np.uintp(column)] = _QUARTER * ((above[x] + above[right]) + (below[x] + below[right]))
        if width % 2:
            target[whole] = _HALF * (above[width - 1] + below[width - 1])


@inlined
def _between(above, below, part, line):  # type: ignore[no-untyped-def]
    """A row between two, written from the second place of ``line`` on."""
    for column in range(above.shape[0]):
        x = np.uintp(column)
        line[np.uintp(column + 1)] = above[x] + part * (below[x] - above[x])


@inlined
def _doubled(line, count, start, out):  # type: ignore[no-untyped-def]
    """Twice as many values, between the ``count`` of ``line`` from its second place on, from ``start`` on."""
    line[0] = line[1]
    line[count + 1] = line[count]
    target = out[start:]
    for column in range(count):
        here = _THREE_QUARTERS * line[np.uintp(column + 1)]
        target[np.uintp(2 * column)] = here + _QUARTER * line[np.uintp(column)]
        target[np.uintp(2 * column + 1)] = here + _QUARTER * line[np.uintp(column + 2)]


@kernel
def grow_row(small, row, doublings, spare, other, out):  # type: ignore[no-untyped-def]
    """The row of full size, between the rows and columns of a plane halved ``doublings`` times.

    spare, other, out : float32, as long as 2 ** doublings · the small plane's width, and 2 more.
    """
    rows = small.shape[0]
    count = small.shape[1]
    factor = np.float32(1 << doublings)
    place = min(max((np.float32(row) + _HALF) / factor - _HALF, _ZERO), np.float32(rows - 1))
    upper = int(place)
    above, below = small[upper], small[min(upper + 1, rows - 1)]
    _between(above, below, place - np.float32(upper), spare)
    if doublings == 0:
        for column in range(count):
            out[np.uintp(column)] = spare[np.uintp(column + 1)]
        return
    source, target = spare, other
    for _ in range(doublings - 1):
        _doubled(source, count, 1, target)
        source, target = target, source
        count *= 2
    _doubled(source, count, 0, out)


@kernel
def grow(small, doublings, out, first, last):  # type: ignore[no-untyped-def]
    """A plane of full size from one that was halved ``doublings`` times."""
    length = (small.shape[1] << doublings) + 2
    spare, other = np.empty(length, np.float32), np.empty(length, np.float32)
    line = np.empty(length, np.float32)
    for row in range(first, last):
        grow_row(small, row, doublings, spare, other, line)
        target = out[row]
        for column in range(out.shape[1]):
            target[np.uintp(column)] = line[np.uintp(column)]


@kernel
def blur(source, weights, out, first, last):  # type: ignore[no-untyped-def]
    """Smoothed with symmetric weights (centre first) down and across. source, out : float32 planes."""
    height = source.shape[0]
    width = source.shape[1]
    reach = weights.shape[0] - 1
    padded = np.empty(width + 2 * reach, np.float32)
    for row in range(first, last):
        centre = source[row]
        middle = padded[reach:]
        for column in range(width):
            middle[np.uintp(column)] = weights[0] * centre[np.uintp(column)]
        for k in range(1, reach + 1):
            above = source[max(row - k, 0)]
            below = source[min(row + k, height - 1)]
            weight = weights[k]
            for column in range(width):
                x = np.uintp(column)
                middle[x] += weight * (above[x] + below[x])
        extend(padded, reach, width)
        target = out[row]
        for column in range(width):
            target[np.uintp(column)] = weights[0] * middle[np.uintp(column)]
        for k in range(1, reach + 1):
            weight = weights[k]
            left, right = padded[reach - k :], padded[reach + k :]
            for column in range(width):
                target[np.uintp(column)] += weight * (left[np.uintp(column)] + right[np.uintp(column)])
