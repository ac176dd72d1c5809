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
_SMALL = np.float32(1e-6)


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
