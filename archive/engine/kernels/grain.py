"""Square-root light, where noise is equally strong in dark and bright parts, and back.

Colours are made half as strong before the root is taken. A channel that is nearly dark beside bright ones, as
in yellow, has their noise from interpolation, which its root would make many times as strong.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.neighbourhood import grow_row

_ZERO, _TWO, _HALF, _QUARTER = np.float32(0), np.float32(2), np.float32(0.5), np.float32(0.25)


@kernel
def to_roots(planes, offsets, first, last):  # type: ignore[no-untyped-def]
    """Light → luma (r + 2 g + b) / 4, red − luma and blue − luma of square roots of paler light, in place.

    offsets : float32, (3,), what is added to red, green and blue before their roots are taken.
    """
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            grey = _QUARTER * (reds[x] + blues[x]) + _HALF * greens[x]
            red = np.sqrt(max(_HALF * (reds[x] + grey) + offsets[0], _ZERO))
            green = np.sqrt(max(_HALF * (greens[x] + grey) + offsets[1], _ZERO))
            blue = np.sqrt(max(_HALF * (blues[x] + grey) + offsets[2], _ZERO))
            luma = _QUARTER * (red + blue) + _HALF * green
            reds[x] = luma
            greens[x] = red - luma
            blues[x] = blue - luma


@kernel
def from_roots(lumas, planes, offsets, lost, first, last):  # type: ignore[no-untyped-def]
    """Back to light; ``lost`` variances are given back: a smoothed root squares to too little.

    lumas : float32, (height, width). planes : float32, (3, height, width); the second and third hold the
    differences, all become light.
    """
    for row in range(first, last):
        calm, reds, greens, blues = lumas[row], planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            luma, warm, cold = calm[x], greens[x], blues[x]
            red = max(luma + warm, _ZERO)
            green = max(luma - _HALF * (warm + cold), _ZERO)
            blue = max(luma + cold, _ZERO)
            red = red * red + lost[0] - offsets[0]
            green = green * green + lost[1] - offsets[1]
            blue = blue * blue + lost[2] - offsets[2]
            grey = _QUARTER * (red + blue) + _HALF * green
            reds[x] = _TWO * red - grey
            greens[x] = _TWO * green - grey
            blues[x] = _TWO * blue - grey


@kernel
def follow(lumas, planes, slopes, offsets, doublings, share, first, last):  # type: ignore[no-untyped-def]
    """Colour differences that follow luma by coefficients of smaller planes, in place.

    lumas : float32, (height, width). planes : float32, (3, height, width); the second and third are the
    differences. slopes, offsets : float32, two planes each, halved ``doublings`` times. share : how far they
    follow, 1 wholly.
    """
    width = planes.shape[2]
    length = (slopes.shape[2] << doublings) + 2
    steep, level = np.empty(length, np.float32), np.empty(length, np.float32)
    spare, other = np.empty(length, np.float32), np.empty(length, np.float32)
    for row in range(first, last):
        calm = lumas[row]
        for k in range(2):
            grow_row(slopes[k], row, doublings, spare, other, steep)
            grow_row(offsets[k], row, doublings, spare, other, level)
            target = planes[k + 1, row]
            for column in range(width):
                x = np.uintp(column)
                target[x] += share * (steep[x] * calm[x] + level[x] - target[x])


@kernel
def unexplained(target, guide, slope, offset, out, first, last):  # type: ignore[no-untyped-def]
    """What a plane has beyond slope · guide + offset. All float32, (height, width)."""
    for row in range(first, last):
        aims, lights, steep, level, line = target[row], guide[row], slope[row], offset[row], out[row]
        for column in range(target.shape[1]):
            x = np.uintp(column)
            line[x] = aims[x] - (steep[x] * lights[x] + level[x])


@kernel
def mixed(before, planes, share, first, last):  # type: ignore[no-untyped-def]
    """Planes that differ from those before by a share only, in place. Both float32, (3, height, width)."""
    for channel in range(3):
        for row in range(first, last):
            line, target = before[channel, row], planes[channel, row]
            for column in range(planes.shape[2]):
                x = np.uintp(column)
                target[x] = line[x] + share * (target[x] - line[x])


@kernel
def block_variances(planes, block, stride, out, first, last):  # type: ignore[no-untyped-def]
    """Variances within blocks of luma, both differences, and the red, green and blue roots they stand for.

    planes : float32, (3, height, width), luma and two differences. stride : from block to block, in pixels.
    out : float32, (6, rows, columns).
    """
    count = np.float32(block * block)
    for row in range(first, last):
        for column in range(out.shape[2]):
            luma0, warm0 = planes[0, row * stride, column * stride], planes[1, row * stride, column * stride]
            cold0 = planes[2, row * stride, column * stride]
            # Sums of deviations from the first pixel, and of their squares.
            a = b = c = aa = bb = cc = rr = gg = ll = _ZERO
            for y in range(row * stride, row * stride + block):
                for x in range(column * stride, column * stride + block):
                    luma, warm, cold = (
                        planes[0, y, x] - luma0,
                        planes[1, y, x] - warm0,
                        planes[2, y, x] - cold0,
                    )
                    green = luma - _HALF * (warm + cold)
                    a, b, c = a + luma, b + warm, c + cold
                    aa, bb, cc = aa + luma * luma, bb + warm * warm, cc + cold * cold
                    rr += (luma + warm) * (luma + warm)
                    gg += green * green
                    ll += (luma + cold) * (luma + cold)
            a, b, c = a / count, b / count, c / count
            g = a - _HALF * (b + c)
            out[0, row, column] = aa / count - a * a
            out[1, row, column] = bb / count - b * b
            out[2, row, column] = cc / count - c * c
            out[3, row, column] = rr / count - (a + b) * (a + b)
            out[4, row, column] = gg / count - g * g
            out[5, row, column] = ll / count - (a + c) * (a + c)
