"""Noise taken from one level of a pyramid: what is finer than the next, kept as far as it stands out."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import extend, grow_row, window_sums
from archive.engine.kernels.numeric import smoothstep

_ZERO, _HALF, _ONE, _QUARTER = np.float32(0), np.float32(0.5), np.float32(1), np.float32(0.25)
_WINDOW = 2
_RING = 8
_SHARE = _ONE / np.float32((2 * _WINDOW + 1) ** 2)
# Bright spots, as stars are, are looked for in the 1-2-1 mean over 3 × 3 pixels of detail, of whose noise
# this share is left.
_SPOT_SIGMA = np.float32(0.28)
_UNLIKELY, _CERTAIN = np.float32(3.2), np.float32(5.5)


@inlined
def _spots(above, here, below, padded, out):  # type: ignore[no-untyped-def]
    """1-2-1 means over 3 × 3 pixels of three padded rows; the padding of ``out`` stays."""
    for column in range(padded.shape[0]):
        x = np.uintp(column)
        padded[x] = _QUARTER * (above[x] + below[x]) + _HALF * here[x]
    for column in range(_WINDOW, padded.shape[0] - _WINDOW):
        sides = padded[np.uintp(column - 1)] + padded[np.uintp(column + 1)]
        out[np.uintp(column)] = _QUARTER * sides + _HALF * padded[np.uintp(column)]


@inlined
def _peaks(above, here, below, padded, out):  # type: ignore[no-untyped-def]
    """The largest of three padded rows within two columns: a star is kept with the dark ring around it.

    Detail sums to nothing; its bright middle alone would add light to a star.
    """
    for column in range(padded.shape[0]):
        x = np.uintp(column)
        padded[x] = max(here[x], max(above[x], below[x]))
    for column in range(out.shape[0]):
        x = np.uintp(column)
        near = max(padded[np.uintp(column + 1)], padded[np.uintp(column + 3)])
        far = max(padded[x], padded[np.uintp(column + 4)])
        out[x] = max(padded[np.uintp(column + 2)], max(near, far))


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
def restore(plane, coarse, calm, sigma, tolerance, out, first, last):  # type: ignore[no-untyped-def]
    """A plane from its calmed half-size version and what it has beyond that, where it is no noise.

    plane : float32, (height, width), noisy. coarse, calm : float32, its halves before and after calming.
    sigma : noise of single pixels. tolerance : variance of detail that is taken for noise.
    out : float32, as plane.
    """
    height = plane.shape[0]
    width = plane.shape[1]
    length = 2 * coarse.shape[1] + 2
    grown, spare = np.empty(length, np.float32), np.empty(length, np.float32)
    other = np.empty(length, np.float32)
    details = np.zeros((_RING, width + 2 * _WINDOW), np.float32)
    sums = np.empty(width + 2 * _WINDOW, np.float32)
    doubled = np.empty(width + 2 * _WINDOW, np.float32)
    energy, peaks = np.empty(width, np.float32), np.empty(width, np.float32)
    spots = np.zeros((_RING, width + 2 * _WINDOW), np.float32)
    low, high = _UNLIKELY * _SPOT_SIGMA * sigma, _CERTAIN * _SPOT_SIGMA * sigma
    for place in range(max(0, first - _WINDOW), min(height, last + _WINDOW) + _WINDOW):
        if place < min(height, last + _WINDOW):
            grow_row(coarse, place, 1, spare, other, grown)
            source, fresh = plane[place], details[place % _RING]
            inner = fresh[_WINDOW:]
            for column in range(width):
                x = np.uintp(column)
                inner[x] = source[x] - grown[x]
            extend(fresh, _WINDOW, width)
        beside = place - 1
        if max(0, first - 1) <= beside < min(height, last + 1):
            above, below = details[max(beside - 1, 0) % _RING], details[min(beside + 1, height - 1) % _RING]
            _spots(above, details[beside % _RING], below, sums, spots[beside % _RING])
        row = place - _WINDOW
        if row < first or row >= last:
            continue
        here = details[row % _RING]
        one, two = details[max(row - 1, 0) % _RING], details[min(row + 1, height - 1) % _RING]
        three, four = details[max(row - 2, 0) % _RING], details[min(row + 2, height - 1) % _RING]
        for column in range(width + 2 * _WINDOW):
            x = np.uintp(column)
            near = one[x] * one[x] + two[x] * two[x]
            sums[x] = here[x] * here[x] + near + (three[x] * three[x] + four[x] * four[x])
        window_sums(sums, _WINDOW, doubled, energy)
        above, below = spots[max(row - 1, 0) % _RING], spots[min(row + 1, height - 1) % _RING]
        _peaks(above, spots[row % _RING], below, sums, peaks)
        grow_row(calm, row, 1, spare, other, grown)
        inner = here[_WINDOW:]
        target = out[row]
        for column in range(width):
            x = np.uintp(column)
            variance = energy[x] * _SHARE
            kept = max(variance - tolerance, _ZERO) / max(variance, np.float32(1e-20))
            kept = max(kept, smoothstep(peaks[x], low, high))
            target[x] = grown[x] + kept * inner[x]
