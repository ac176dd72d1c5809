"""What a plane has beyond its half-size version, and the bright spots in it, which no smoothing may take."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import extend, grow_row
from archive.engine.kernels.numeric import smoothstep

_ZERO, _HALF, _QUARTER = np.float32(0), np.float32(0.5), np.float32(0.25)
_RING = 16
# Bright spots, as stars are, are looked for in the 1-2-1 mean over 3 × 3 pixels of detail, of whose noise
# this share is left.
_SPOT_SIGMA = np.float32(0.28)
_UNLIKELY, _CERTAIN = np.float32(3.3), np.float32(5.6)
# A spot stands out of what lies so far away on both sides of it, in each of four directions; an edge does not
# along itself. On slants it is about as far.
_FAR, _SLANT = 3, 2
# A bright star is kept with what is around it, where the half-size version has a part of its light: its
# middle alone would add light to it. Of what is around, only what stands out of noise, or it would lie on a
# cushion of grain.
_AROUND = 3
_LEAST = np.float32(1e-9)
_UNSEEN, _SEEN = np.float32(0.5), np.float32(2)
_BRIGHT, _BRIGHTEST = np.float32(6), np.float32(9)
_REACH = 1 + _FAR + _AROUND


@inlined
def _means(above, here, below, padded, out):  # type: ignore[no-untyped-def]
    """1-2-1 means over 3 × 3 pixels of rows with one more at either end, from ``_FAR`` on in ``out``."""
    for column in range(here.shape[0]):
        x = np.uintp(column)
        padded[x] = _QUARTER * (above[x] + below[x]) + _HALF * here[x]
    width = here.shape[0] - 2
    target = out[_FAR:]
    for column in range(width):
        sides = padded[np.uintp(column)] + padded[np.uintp(column + 2)]
        target[np.uintp(column)] = _QUARTER * sides + _HALF * padded[np.uintp(column + 1)]
    extend(out, _FAR, width)


@inlined
def _heights(means, row, height, width, out):  # type: ignore[no-untyped-def]
    """How far a row of a ring of means stands out, at most as far as it is above 0, from ``_AROUND`` on."""
    here = means[row % _RING]
    top, bottom = means[max(row - _FAR, 0) % _RING], means[min(row + _FAR, height - 1) % _RING]
    above, below = means[max(row - _SLANT, 0) % _RING], means[min(row + _SLANT, height - 1) % _RING]
    target = out[_AROUND:]
    for column in range(width):
        x = np.uintp(column + _FAR)
        straight = max(top[x] + bottom[x], here[np.uintp(column)] + here[np.uintp(column + 2 * _FAR)])
        left, right = np.uintp(column + _FAR - _SLANT), np.uintp(column + _FAR + _SLANT)
        slanting = max(above[left] + below[right], above[right] + below[left])
        target[np.uintp(column)] = here[x] - _HALF * max(max(straight, slanting), _ZERO)
    extend(out, _AROUND, width)


@inlined
def _highest(heights, row, height, tall, wide, near, far):  # type: ignore[no-untyped-def]
    """The largest of a ring of heights within one pixel, and within ``_AROUND``."""
    here = heights[row % _RING]
    above, below = heights[max(row - 1, 0) % _RING], heights[min(row + 1, height - 1) % _RING]
    above2, below2 = heights[max(row - 2, 0) % _RING], heights[min(row + 2, height - 1) % _RING]
    above3, below3 = heights[max(row - 3, 0) % _RING], heights[min(row + 3, height - 1) % _RING]
    count = near.shape[0]
    for column in range(tall.shape[0]):
        x = np.uintp(column)
        tall[x] = max(here[x], max(above[x], below[x]))
    for column in range(count):
        sides = max(tall[np.uintp(column + 2)], tall[np.uintp(column + 4)])
        near[np.uintp(column)] = max(tall[np.uintp(column + 3)], sides)
    for column in range(tall.shape[0]):
        x = np.uintp(column)
        tall[x] = max(tall[x], max(max(above2[x], below2[x]), max(above3[x], below3[x])))
    for column in range(tall.shape[0] - 1):
        wide[np.uintp(column)] = max(tall[np.uintp(column)], tall[np.uintp(column + 1)])
    for column in range(count):
        left = max(wide[np.uintp(column)], wide[np.uintp(column + 2)])
        right = max(wide[np.uintp(column + 4)], tall[np.uintp(column + 6)])
        far[np.uintp(column)] = max(left, right)


@kernel
def details(plane, coarse, stride, out, first, last):  # type: ignore[no-untyped-def]
    """Every ``stride``-th row of what a plane has beyond its half-size version. out : float32 rows."""
    length = 2 * coarse.shape[1] + 2
    grown, spare = np.empty(length, np.float32), np.empty(length, np.float32)
    other = np.empty(length, np.float32)
    for row in range(first, last):
        grow_row(coarse, row * stride, 1, spare, other, grown)
        source, target = plane[row * stride], out[row]
        for column in range(plane.shape[1]):
            x = np.uintp(column)
            target[x] = source[x] - grown[x]


@kernel
def keep_spots(plane, coarse, sigma, out, shares, first, last):  # type: ignore[no-untyped-def]
    """Give a calmed plane its bright spots back, in place.

    plane : float32, (height, width), noisy. coarse : float32, its half-size version, noisy.
    sigma : noise of detail. out : float32, as plane, calmed. shares : float32, as plane, how far every pixel
    is a spot's, 0 to 1; of no size where that is not asked for.
    """
    height = plane.shape[0]
    width = plane.shape[1]
    length = 2 * coarse.shape[1] + 2
    grown, spare = np.empty(length, np.float32), np.empty(length, np.float32)
    other = np.empty(length, np.float32)
    details = np.empty((_RING, width + 2), np.float32)
    means = np.empty((_RING, width + 2 * _FAR), np.float32)
    heights = np.empty((_RING, width + 2 * _AROUND), np.float32)
    padded, wide = np.empty(width + 2 * _AROUND, np.float32), np.empty(width + 2 * _AROUND, np.float32)
    near, far = np.empty(width, np.float32), np.empty(width, np.float32)
    sigma = max(sigma, _LEAST)
    unit = _SPOT_SIGMA * sigma
    for place in range(max(0, first - _REACH), min(height, last + _REACH) + _REACH):
        if place < min(height, last + _REACH):
            grow_row(coarse, place, 1, spare, other, grown)
            source, fresh = plane[place], details[place % _RING]
            inner = fresh[1:]
            for column in range(width):
                x = np.uintp(column)
                inner[x] = source[x] - grown[x]
            extend(fresh, 1, width)
        row = place - 1
        if max(0, first - _REACH + 1) <= row < min(height, last + _REACH - 1):
            above, below = details[max(row - 1, 0) % _RING], details[min(row + 1, height - 1) % _RING]
            _means(above, details[row % _RING], below, padded, means[row % _RING])
        row = place - 1 - _FAR
        if max(0, first - _AROUND) <= row < min(height, last + _AROUND):
            _heights(means, row, height, width, heights[row % _RING])
        row = place - _REACH
        if row < first or row >= last:
            continue
        _highest(heights, row, height, padded, wide, near, far)
        source, target = plane[row], out[row]
        for column in range(width):
            x = np.uintp(column)
            faint = smoothstep(near[x], _UNLIKELY * unit, _CERTAIN * unit)
            bright = smoothstep(far[x], _BRIGHT * unit, _BRIGHTEST * unit)
            lost = source[x] - target[x]
            seen = smoothstep(abs(lost), _UNSEEN * sigma, _SEEN * sigma)
            target[x] += max(faint, bright * seen) * lost
            near[x] = max(faint, bright)
        if shares.shape[0]:
            told = shares[row]
            for column in range(width):
                told[np.uintp(column)] = near[np.uintp(column)]
