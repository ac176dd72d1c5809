"""The colours of stars, which are not those of the sky behind them."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.numeric import smoothstep

_ZERO, _SMALL = np.float32(0), np.float32(1e-12)
# A star's light is so near to its middle; the sky begins one pixel farther.
_WITHIN = 2
_AROUND = _WITHIN + 1
# What a star has in the 3 × 3 pixels of its middle, of all squared detail around: an edge has less.
_SPREAD, _GATHERED = np.float32(0.45), np.float32(0.65)
# What has several colours is no star: half of it where so much, squared, differs from one slope.
_MOTLEY = np.float32(0.01)


@kernel
def own_colours(  # type: ignore[no-untyped-def]
    shares, luma, detail, tinges, noise, usual, slopes, offsets, first, last
):
    """Let colour differences follow luma as stars' own light does, where there are stars, not as the sky's.

    How steeply they do so is measured where luma and a difference stand out together (least squares), and
    held the nearer to 0, which is white, the less it can be told. Of two stars the brighter has the pixels
    between.

    shares : float32, how surely a pixel is a star's, 0 to 1. luma : float32. detail, tinges : float32, what
    luma and two differences have beyond their half-size versions. noise : float32, variances of these three.
    usual : variance of the slopes of stars. slopes, offsets : float32, difference = slope · luma + offset,
    two planes each, changed in place. All planes are (height, width).
    """
    height = shares.shape[0]
    width = shares.shape[1]
    peaks = np.zeros((last - first, width), np.float32)
    # Of the star that has a pixel: two slopes, how surely it is one, the sky around.
    own = np.empty((last - first, width, 4), np.float32)
    for row in range(max(first - _WITHIN, 0), min(last + _WITHIN, height)):
        line = shares[row]
        for column in range(width):
            if line[np.uintp(column)] == _ZERO or not _is_peak(detail, row, column):
                continue
            peak = detail[row, column]
            warm, cold, surely, sky = _measured(luma, detail, tinges, noise, usual, row, column)
            for y in range(max(row - _WITHIN, first), min(row + _WITHIN + 1, last)):
                for x in range(max(column - _WITHIN, 0), min(column + _WITHIN + 1, width)):
                    if peak > peaks[y - first, x]:
                        peaks[y - first, x] = peak
                        star = own[y - first, x]
                        star[0], star[1], star[2], star[3] = warm, cold, surely, sky
    for row in range(first, last):
        for column in range(width):
            if peaks[row - first, column] > _ZERO:
                star = own[row - first, column]
                for k in range(2):
                    change = shares[row, column] * star[2] * (star[k] - slopes[k, row, column])
                    slopes[k, row, column] += change
                    # The sky around keeps its colour.
                    offsets[k, row, column] -= change * star[3]


@inlined
def _is_peak(detail, row, column):  # type: ignore[no-untyped-def]
    """Whether detail is positive and nowhere larger in the eight pixels around."""
    here = detail[row, column]
    left, right = max(column - 1, 0), min(column + 1, detail.shape[1] - 1)
    if here <= _ZERO or here < detail[row, left] or here < detail[row, right]:
        return False
    above, below = max(row - 1, 0), min(row + 1, detail.shape[0] - 1)
    most = max(detail[above, column], detail[below, column])
    most = max(most, max(detail[above, left], detail[above, right]))
    return here >= max(most, max(detail[below, left], detail[below, right]))


@kernel
def _measured(luma, detail, tinges, noise, usual, row, column):  # type: ignore[no-untyped-def]
    """Slopes of two differences at a star of this middle, how surely it is one, and the sky's luma around."""
    whole = inner = light = sky = _ZERO
    warm = warmest = cold = coldest = _ZERO
    count = near = around = 0
    for y in range(max(row - _AROUND, 0), min(row + _AROUND + 1, luma.shape[0])):
        for x in range(max(column - _AROUND, 0), min(column + _AROUND + 1, luma.shape[1])):
            apart = max(abs(y - row), abs(x - column))
            here = detail[y, x]
            whole += here * here
            count += 1
            if apart == _AROUND:
                sky += luma[y, x]
                around += 1
                continue
            light += here * here
            warm += here * tinges[0, y, x]
            warmest += tinges[0, y, x] * tinges[0, y, x]
            cold += here * tinges[1, y, x]
            coldest += tinges[1, y, x] * tinges[1, y, x]
            near += 1
            if apart <= 1:
                inner += here * here - noise[0]
    whole = max(whole - np.float32(count) * noise[0], _SMALL)
    light = max(light - np.float32(near) * noise[0], _SMALL)
    motley = max(warmest - warm * warm / light - np.float32(near) * noise[1], _ZERO)
    motley += max(coldest - cold * cold / light - np.float32(near) * noise[2], _ZERO)
    surely = smoothstep(inner / whole, _SPREAD, _GATHERED) * _MOTLEY / (_MOTLEY + motley / light)
    return (
        warm / (light + noise[1] / usual), cold / (light + noise[2] / usual), surely,
        sky / np.float32(max(around, 1)),
    )  # fmt: skip
