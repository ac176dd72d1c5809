"""The colours of stars, which are not those of the sky behind them."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.numeric import smoothstep

_ZERO, _ONE, _SMALL = np.float32(0), np.float32(1), np.float32(1e-12)
# A star's middle is so near to its pixels at most, and its light so near to its middle; the sky begins one
# pixel farther.
_WITHIN = 2
_AROUND = _WITHIN + 1
# What a star has in the 3 × 3 pixels of its middle, of all squared detail around: an edge has less.
_SPREAD, _GATHERED = np.float32(0.45), np.float32(0.65)
# What has several colours is no star: half of it where so much, squared, differs from one slope.
_MOTLEY = np.float32(0.01)


@kernel
def own_colours(  # type: ignore[no-untyped-def]
    shares, luma, detail, tinge, noise, usual, slope, offset, first, last
):
    """Let a colour difference follow luma as stars' own light does, where there are stars, not as the sky's.

    How steeply it does so is measured where luma and the difference stand out together (least squares), and
    held the nearer to 0, which is white, the less it can be told.

    shares : float32, how surely a pixel is a star's, 0 to 1. luma : float32. detail, tinge : float32, what
    luma and the difference have beyond their half-size versions. noise : float32, variances of these two.
    usual : variance of the slopes of stars. slope, offset : float32, difference = slope · luma + offset,
    changed in place. All planes are (height, width).
    """
    height = shares.shape[0]
    width = shares.shape[1]
    for row in range(first, last):
        line = shares[row]
        for column in range(width):
            share = line[np.uintp(column)]
            if share == _ZERO:
                continue
            middle, across = _middle(detail, row, column)
            whole = inner = light = common = coloured = sky = _ZERO
            count = near = around = 0
            for y in range(max(middle - _AROUND, 0), min(middle + _AROUND + 1, height)):
                for x in range(max(across - _AROUND, 0), min(across + _AROUND + 1, width)):
                    apart = max(abs(y - middle), abs(x - across))
                    squared = detail[y, x] * detail[y, x]
                    whole += squared
                    count += 1
                    if apart == _AROUND:
                        sky += luma[y, x]
                        around += 1
                        continue
                    light += squared
                    common += detail[y, x] * tinge[y, x]
                    coloured += tinge[y, x] * tinge[y, x]
                    near += 1
                    if apart <= 1:
                        inner += squared - noise[0]
            whole = max(whole - np.float32(count) * noise[0], _SMALL)
            light = max(light - np.float32(near) * noise[0], _SMALL)
            motley = max(coloured - common * common / light - np.float32(near) * noise[1], _ZERO) / light
            share *= smoothstep(inner / whole, _SPREAD, _GATHERED) * _MOTLEY / (_MOTLEY + motley)
            change = share * (common / (light + noise[1] / usual) - slope[row, column])
            slope[row, column] += change
            # The sky around keeps its colour.
            offset[row, column] -= change * sky / np.float32(max(around, 1))


@inlined
def _middle(detail, row, column):  # type: ignore[no-untyped-def]
    """Row and column of the largest detail near a pixel."""
    top, left = row, column
    for y in range(max(row - _WITHIN, 0), min(row + _WITHIN + 1, detail.shape[0])):
        for x in range(max(column - _WITHIN, 0), min(column + _WITHIN + 1, detail.shape[1])):
            if detail[y, x] > detail[top, left]:
                top, left = y, x
    return top, left
