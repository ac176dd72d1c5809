"""Passes on single pixels: balance, clipped channels, fall-off, matrix, tone, chroma, display."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.numeric import log2, smoothstep, table_at

_ZERO, _HALF, _ONE = np.float32(0), np.float32(0.5), np.float32(1)
_CLIPPING, _CLIPPED = np.float32(0.86), np.float32(0.97)
_RED, _GREEN, _BLUE = np.float32(0.21263901), np.float32(0.71516868), np.float32(0.07219232)


@inlined
def luminance(red, green, blue):  # type: ignore[no-untyped-def]
    """Relative luminance of linear sRGB."""
    return _RED * red + _GREEN * green + _BLUE * blue


@kernel
def balance(planes, gains, rebuild, first, last):  # type: ignore[no-untyped-def]
    """White balance in place; with ``rebuild`` clipped channels are estimated from the others.

    planes : float32, (3, height, width), camera light, 1.0 = a channel's own clipping. gains : float32, (3,).
    """
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            red, green, blue = reds[x] * gains[0], greens[x] * gains[1], blues[x] * gains[2]
            if rebuild:
                red_lost = smoothstep(reds[x], _CLIPPING, _CLIPPED)
                green_lost = smoothstep(greens[x], _CLIPPING, _CLIPPED)
                blue_lost = smoothstep(blues[x], _CLIPPING, _CLIPPED)
                # A clipped value is a lower bound; the mean of the other two keeps a cast from appearing.
                new_red = red + red_lost * max(_HALF * (green + blue) - red, _ZERO)
                new_green = green + green_lost * max(_HALF * (red + blue) - green, _ZERO)
                new_blue = blue + blue_lost * max(_HALF * (red + green) - blue, _ZERO)
                all_lost = min(red_lost, min(green_lost, blue_lost))
                two_lost = max(min(red_lost, green_lost), min(max(red_lost, green_lost), blue_lost))
                white = max(new_red, max(new_green, new_blue))
                towards = _HALF * (all_lost + two_lost)
                red = new_red + towards * (white - new_red)
                green = new_green + towards * (white - new_green)
                blue = new_blue + towards * (white - new_blue)
            reds[x], greens[x], blues[x] = red, green, blue


@kernel
def brighten_corners(planes, table, left, top, across, down, first, last):  # type: ignore[no-untyped-def]
    """Multiply by a gain that depends on the squared distance from the frame's centre.

    table : float32 gains at squared distances 0 to 1 (the corner). left, top : distance of the first pixel's
    centre from the frame's, across, down : steps between pixels, all in half diagonals of the frame.
    """
    steps = np.float32(table.shape[0] - 1)
    for row in range(first, last):
        y = top + down * np.float32(row)
        for column in range(planes.shape[2]):
            x = left + across * np.float32(column)
            gain = table_at(table, (x * x + y * y) * steps)
            for channel in range(3):
                planes[channel, row, column] *= gain


@kernel
def apply_matrix(planes, matrix, first, last):  # type: ignore[no-untyped-def]
    """matrix · colour for every pixel, in place. matrix : float32, (3, 3)."""
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            red, green, blue = reds[x], greens[x], blues[x]
            reds[x] = matrix[0, 0] * red + matrix[0, 1] * green + matrix[0, 2] * blue
            greens[x] = matrix[1, 0] * red + matrix[1, 1] * green + matrix[1, 2] * blue
            blues[x] = matrix[2, 0] * red + matrix[2, 1] * green + matrix[2, 2] * blue


@kernel
def scale(planes, gain, first, last):  # type: ignore[no-untyped-def]
    """Multiply everything by one gain, in place."""
    for channel in range(3):
        for row in range(first, last):
            line = planes[channel, row]
            for column in range(planes.shape[2]):
                line[np.uintp(column)] *= gain


@kernel
def stops_of_luminance(planes, darkest, out, first, last):  # type: ignore[no-untyped-def]
    """log2 of luminance, held above ``darkest`` (stops). out : float32, (height, width)."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            light = luminance(planes[0, row, column], planes[1, row, column], planes[2, row, column])
            out[row, column] = max(log2(max(light, np.float32(1e-9))), darkest)


@kernel
def apply_gain_table(planes, stops, table, lowest, per_stop, first, last):  # type: ignore[no-untyped-def]
    """Multiply each pixel by a table's gain for its ``stops``. table : float32, from ``lowest`` stops on."""
    gains = np.empty(planes.shape[2], np.float32)
    for row in range(first, last):
        line = stops[row]
        for column in range(planes.shape[2]):
            gains[np.uintp(column)] = table_at(table, (line[np.uintp(column)] - lowest) * per_stop)
        for channel in range(3):
            target = planes[channel, row]
            for column in range(planes.shape[2]):
                target[np.uintp(column)] *= gains[np.uintp(column)]


@kernel
def change_chroma(planes, amount, muted, first, last):  # type: ignore[no-untyped-def]
    """Move colours away from or towards the grey of their luminance, in place."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            red, green, blue = planes[0, row, column], planes[1, row, column], planes[2, row, column]
            light = luminance(red, green, blue)
            most = max(red, max(green, blue))
            least = max(min(red, min(green, blue)), _ZERO)
            strength = (most - least) / most if most > np.float32(1e-9) else _ONE
            spare = _ONE - min(strength, _ONE)
            factor = max(_ONE + amount + muted * spare, _ZERO)
            planes[0, row, column] = light + factor * (red - light)
            planes[1, row, column] = light + factor * (green - light)
            planes[2, row, column] = light + factor * (blue - light)


@kernel
def fit_colours(planes, first, last):  # type: ignore[no-untyped-def]
    """Bring colours of the same hue inside 0 to 1, in place; those inside stay as they are.

    What is too saturated is drawn towards the luminance of what can be shown of it. What is too bright keeps
    its hue and runs to white the brighter it is: the core of an aurora keeps its structure, which channels
    clipped on their own would lose, along with the hue.
    """
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            red, green, blue = reds[x], greens[x], blues[x]
            least = min(red, min(green, blue))
            most = max(red, max(green, blue))
            if least >= _ZERO and most <= _ONE:
                continue
            if most <= _ZERO:
                reds[x], greens[x], blues[x] = _ZERO, _ZERO, _ZERO
                continue
            if least < _ZERO:
                light = luminance(max(red, _ZERO), max(green, _ZERO), max(blue, _ZERO))
                kept = light / (light - least)
                red = light + kept * (red - light)
                green = light + kept * (green - light)
                blue = light + kept * (blue - light)
                most = max(red, max(green, blue))
            if most > _ONE:
                share = _ONE / most
                white = _ONE - share
                red = red * share * share + white
                green = green * share * share + white
                blue = blue * share * share + white
            reds[x], greens[x], blues[x] = red, green, blue


@inlined
def _scattered(column, row, channel):  # type: ignore[no-untyped-def]
    """A fixed pseudo-random number between 0 and 1 for a place in the picture."""
    state = np.uint32(column) * np.uint32(0x9E3779B1) + np.uint32(row) * np.uint32(0x85EBCA77)
    state = np.uint32(state + np.uint32(channel) * np.uint32(0xC2B2AE3D))
    state = np.uint32(np.uint32(state ^ np.uint32(state >> np.uint32(15))) * np.uint32(0x2C1B3C6D))
    state = np.uint32(np.uint32(state ^ np.uint32(state >> np.uint32(12))) * np.uint32(0x297A2D39))
    state = np.uint32(state ^ np.uint32(state >> np.uint32(15)))
    return np.float32(np.int32(state >> np.uint32(8))) * np.float32(1 / 16777216)


@kernel
def display(planes, table, levels, dither, out, first, last):  # type: ignore[no-untyped-def]
    """Linear sRGB 0 to 1 → encoded whole numbers.

    table : float32, sRGB of light at evenly spaced square roots 0 to 1. levels : float32, the largest
    number (255, 65535). dither : spread rounding over neighbouring pixels by place, so that smooth skies do
    not band; exact values stay. out : uint8 or uint16, (height, width, 3).
    """
    width = planes.shape[2]
    steps = np.float32(table.shape[0] - 1)
    positions = np.empty(width, np.float32)
    thresholds = np.empty(width, np.float32)
    thresholds[:] = _HALF
    for row in range(first, last):
        for channel in range(3):
            line = planes[channel, row]
            for column in range(width):
                light = min(max(line[np.uintp(column)], _ZERO), _ONE)
                positions[np.uintp(column)] = np.sqrt(light) * steps
            if dither:
                for column in range(width):
                    scattered = _scattered(column, row, channel)
                    thresholds[np.uintp(column)] = np.float32(0.02) + np.float32(0.96) * scattered
            for column in range(width):
                x = np.uintp(column)
                level = table_at(table, positions[x]) * levels + thresholds[x]
                out[row, x, channel] = np.int32(min(level, levels))
