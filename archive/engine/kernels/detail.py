"""Tone by surroundings and by pixel, local contrast and fine detail, as one gain for each pixel.

Everything is measured in stops of the pixel's own light and of its surroundings; colour is multiplied by one
gain, so that its ratios stay.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.light import luminance
from archive.engine.kernels.neighbourhood import grow_row
from archive.engine.kernels.numeric import exp2, log2, look_up, smoothstep

_ZERO, _ONE, _TWO = np.float32(0), np.float32(1), np.float32(2)
# Detail beyond this (square-root light) is an edge: what is added to it levels off, so that no bright rim
# grows.
_EDGE = np.float32(0.12)
_DARK = np.float32(0.004)
_STEEPEST = np.float32(3)
# Dark rims beside bright stars show more than bright ones.
_DARKENING = np.float32(0.6)
_SMALLEST_ROOT = np.float32(3e-5)
# Differences to the surroundings level off beyond this many stops: a ridge or a star is no texture.
_TEXTURE = np.float32(1.5)
_FAINT, _VISIBLE = np.float32(-12), np.float32(-8)


@kernel
def luminance_roots(planes, out, first, last):  # type: ignore[no-untyped-def]
    """Square roots of luminance; 0 where there is no light. out : float32, (height, width)."""
    for row in range(first, last):
        reds, greens, blues, target = planes[0, row], planes[1, row], planes[2, row], out[row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            target[x] = np.sqrt(max(luminance(reds[x], greens[x], blues[x]), _ZERO))


@kernel
def stops_of_roots(roots, darkest, out, first, last):  # type: ignore[no-untyped-def]
    """Stops of light, held above ``darkest``, of square roots. Both float32, (height, width)."""
    for row in range(first, last):
        line, target = roots[row], out[row]
        for column in range(roots.shape[1]):
            x = np.uintp(column)
            target[x] = max(_TWO * log2(max(line[x], _SMALLEST_ROOT)), darkest)


@kernel
def gains_of_tone(  # type: ignore[no-untyped-def]
    roots,
    darkest,
    slope,
    offset,
    doublings,
    regional,
    local,
    curve,
    lowest,
    per_stop,
    gains,
    first,
    last,
):
    """What the light of each pixel is multiplied by for its tone and that of its surroundings.

    slope, offset : float32, halved planes: surroundings = slope · stops + offset; of no size where neither
    ``regional`` nor ``local`` asks for them. regional, curve : float32, stops added by surroundings and then
    by tone, from ``lowest`` on; of no size where there is nothing to add. local : local contrast, 0 none.
    gains : float32, (height, width).
    """
    width = roots.shape[1]
    length = (max(slope.shape[1], 1) << doublings) + 2
    slopes, offsets = np.empty(length, np.float32), np.empty(length, np.float32)
    spare, other = np.empty(length, np.float32), np.empty(length, np.float32)
    stops, around = np.empty(width, np.float32), np.empty(width, np.float32)
    added, positions = np.empty(width, np.float32), np.empty(width, np.float32)
    places = np.empty(width, np.int32)
    for row in range(first, last):
        line, target = roots[row], gains[row]
        for column in range(width):
            x = np.uintp(column)
            stops[x] = max(_TWO * log2(max(line[x], _SMALLEST_ROOT)), darkest)
            added[x] = _ZERO
        if slope.shape[0]:
            grow_row(slope, row, doublings, spare, other, slopes)
            grow_row(offset, row, doublings, spare, other, offsets)
            for column in range(width):
                x = np.uintp(column)
                around[x] = slopes[x] * stops[x] + offsets[x]
            if regional.shape[0]:
                for column in range(width):
                    x = np.uintp(column)
                    positions[x] = (around[x] - lowest) * per_stop
                look_up(regional, positions, places, added)
            if local != _ZERO:
                for column in range(width):
                    x = np.uintp(column)
                    apart = stops[x] - around[x]
                    limited = apart / (_ONE + abs(apart) / _TEXTURE)
                    # Beside a ridge what is apart from the surroundings is their error, not texture.
                    limited *= max(_ONE - slopes[x] * slopes[x], _ZERO)
                    # In the deepest shadow there is only noise to strengthen.
                    added[x] += local * limited * smoothstep(around[x], _FAINT, _VISIBLE)
        if curve.shape[0]:
            for column in range(width):
                x = np.uintp(column)
                positions[x] = (stops[x] + added[x] - lowest) * per_stop
            look_up(curve, positions, places, around)
            for column in range(width):
                x = np.uintp(column)
                added[x] += around[x]
        for column in range(width):
            x = np.uintp(column)
            target[x] = exp2(added[x])


@kernel
def sharpen_gains(roots, smooth, amount, floor, gains, first, last):  # type: ignore[no-untyped-def]
    """Multiply gains so that luminance gains ``amount`` times its detail above ``floor``."""
    for row in range(first, last):
        line, calm, target = roots[row], smooth[row], gains[row]
        for column in range(roots.shape[1]):
            x = np.uintp(column)
            root = line[x]
            difference = root - calm[x]
            size = max(abs(difference) - floor, _ZERO)
            added = amount * size / (_ONE + size / _EDGE)
            added = added if difference > _ZERO else -added * _DARKENING
            base = max(root, _DARK)
            ratio = min(max((base + added) / base, np.float32(0.25)), _STEEPEST)
            target[x] *= ratio * ratio


@kernel
def multiply(planes, gains, first, last):  # type: ignore[no-untyped-def]
    """Each pixel's colour times its gain, in place."""
    for channel in range(planes.shape[0]):
        for row in range(first, last):
            line, factors = planes[channel, row], gains[row]
            for column in range(planes.shape[2]):
                line[np.uintp(column)] *= factors[np.uintp(column)]
