"""Channels that were clipped, rebuilt from those that were not and from the colour around them."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import grow_row
from archive.engine.kernels.numeric import clear, smoothstep

_ZERO, _ONE = np.float32(0), np.float32(1)
_CLIPPING, _CLIPPED = np.float32(0.90), np.float32(0.985)
# What the bound of a wholly clipped pixel weighs beside a channel that is known.
_BOUND = np.float32(0.01)
_SMALL, _LEAST = np.float32(1e-6), np.float32(1e-12)
# The weight that is enough to be trusted half.
_TRUST = np.float32(0.02)
_QUARTER, _THREE_QUARTERS = np.float32(0.25), np.float32(0.75)


@inlined
def lost(value):  # type: ignore[no-untyped-def]
    """How surely a channel, 1.0 = its own clipping, was clipped, 0 to 1."""
    return smoothstep(value, _CLIPPING, _CLIPPED)


@kernel
def known_colours(planes, gains, block, out, first, last):  # type: ignore[no-untyped-def]
    """Balanced colour of what was not clipped, as sums over blocks, brighter pixels weighing more.

    planes : float32, (3, height, width), camera light, 1.0 = a channel's own clipping.
    out : float32, (5, rows, columns): weighted red, green, blue, the weight, and how much was lost.
    """
    height = planes.shape[1]
    width = planes.shape[2]
    share = _ONE / np.float32(block * block)
    weights, losses = np.empty(width, np.float32), np.empty(width, np.float32)
    sums = np.empty((5, width), np.float32)
    for row in range(first, last):
        for k in range(5):
            clear(sums[k], width)
        for below in range(row * block, min((row + 1) * block, height)):
            reds, greens, blues = planes[0, below], planes[1, below], planes[2, below]
            for column in range(width):
                x = np.uintp(column)
                most = max(reds[x], max(greens[x], blues[x]))
                losses[x] = lost(most)
                level = max(most, _ZERO)
                weights[x] = (_ONE - losses[x]) * level * level
            for channel in range(3):
                line, total = planes[channel, below], sums[channel]
                for column in range(width):
                    x = np.uintp(column)
                    total[x] += weights[x] * max(line[x], _ZERO)
            weight_sum, loss_sum = sums[3], sums[4]
            for column in range(width):
                x = np.uintp(column)
                weight_sum[x] += weights[x]
                loss_sum[x] += losses[x]
        for k in range(5):
            gain = share * (gains[k] if k < 3 else _ONE)
            for column in range(out.shape[2]):
                total = _ZERO
                for inner in range(column * block, min((column + 1) * block, width)):
                    total += sums[k, inner]
                out[k, row, column] = total * gain


@kernel
def quarter_sums(sums, out, first, last):  # type: ignore[no-untyped-def]
    """Means of 2 × 2; a last row or column without a neighbour counts twice. Both float32, planes."""
    height, width = sums.shape[1:]
    for k in range(sums.shape[0]):
        for row in range(first, last):
            above, below, line = sums[k, 2 * row], sums[k, min(2 * row + 1, height - 1)], out[k, row]
            for column in range(out.shape[2]):
                left, right = np.uintp(2 * column), np.uintp(min(2 * column + 1, width - 1))
                line[np.uintp(column)] = (above[left] + above[right] + below[left] + below[right]) * _QUARTER


@kernel
def colours_known(sums, wider, out, first, last):  # type: ignore[no-untyped-def]
    """Colour as far as it is known, and as far as it is not that of half the size, between its pixels.

    sums : float32, (4, height, width), weighted red, green, blue, and the weight. wider : float32, (3,
    height / 2, width / 2). out : float32, (3, height, width), of largest channel 1 where all is known.
    """
    height, width = wider.shape[1:]
    for row in range(first, last):
        here = row // 2
        beside = min(here + 1, height - 1) if row % 2 else max(here - 1, 0)
        for column in range(out.shape[2]):
            x, middle = np.uintp(column), column // 2
            inner = np.uintp(middle)
            outer = np.uintp(min(middle + 1, width - 1) if column % 2 else max(middle - 1, 0))
            most = max(sums[0, row, x], max(sums[1, row, x], sums[2, row, x]))
            known = sums[3, row, x] / (sums[3, row, x] + _TRUST)
            for k in range(3):
                near = _THREE_QUARTERS * wider[k, here, inner] + _QUARTER * wider[k, beside, inner]
                far = _THREE_QUARTERS * wider[k, here, outer] + _QUARTER * wider[k, beside, outer]
                own = sums[k, row, x] / max(most, _LEAST)
                out[k, row, x] = own * known + (_THREE_QUARTERS * near + _QUARTER * far) * (_ONE - known)


@kernel
def rebuild(planes, gains, around, doublings, first, last):  # type: ignore[no-untyped-def]
    """White balance in place, with clipped channels made as bright as the colour around says.

    planes : float32, (3, height, width), camera light, 1.0 = a channel's own clipping. gains : float32, (3,).
    around : float32, (3, rows, columns), balanced colour of the surroundings, halved ``doublings`` times.
    """
    width = planes.shape[2]
    length = (around.shape[2] << doublings) + 2
    spare, other = np.empty(length, np.float32), np.empty(length, np.float32)
    near = np.empty((3, length), np.float32)
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        # Gathered as whole numbers: the most of floats is found one by one.
        any_lost = np.int32(0)
        for column in range(width):
            x = np.uintp(column)
            any_lost |= np.int32(max(reds[x], max(greens[x], blues[x])) > _CLIPPING)
        if any_lost == 0:
            for column in range(width):
                x = np.uintp(column)
                reds[x] *= gains[0]
                greens[x] *= gains[1]
                blues[x] *= gains[2]
            continue
        for k in range(3):
            grow_row(around[k], row, doublings, spare, other, near[k])
        near_red, near_green, near_blue = near[0], near[1], near[2]
        for column in range(width):
            x = np.uintp(column)
            red_lost, green_lost, blue_lost = lost(reds[x]), lost(greens[x]), lost(blues[x])
            red, green, blue = reds[x] * gains[0], greens[x] * gains[1], blues[x] * gains[2]
            like_red, like_green = max(near_red[x], _SMALL), max(near_green[x], _SMALL)
            like_blue = max(near_blue[x], _SMALL)
            # A clipped value is a lower bound: the least light of the colour around that reaches all three.
            bound = max(red / like_red, max(green / like_green, blue / like_blue))
            red_known, green_known, blue_known = _ONE - red_lost, _ONE - green_lost, _ONE - blue_lost
            known = red_known * red + green_known * green + blue_known * blue
            like = red_known * like_red + green_known * like_green + blue_known * like_blue
            anyway = _BOUND * (like_red + like_green + like_blue)
            scale = (known + anyway * bound) / (like + anyway)
            reds[x] = red + red_lost * max(like_red * scale - red, _ZERO)
            greens[x] = green + green_lost * max(like_green * scale - green, _ZERO)
            blues[x] = blue + blue_lost * max(like_blue * scale - blue, _ZERO)
