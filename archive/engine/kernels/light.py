"""Passes on single pixels: balance, fall-off, matrix, chroma, display."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.numeric import look_up

_ZERO, _HALF, _ONE = np.float32(0), np.float32(0.5), np.float32(1)
_LEAST = np.float32(1e-20)
# Thresholds of rounding lie between 0.02 and 0.98, so that numbers that are whole already stay.
_ROUNDED, _SPREAD = np.float32(0.02), np.float32(0.96 / 1023)
# 255 · sRGB encoding by the fourth root of light, above its straight toe, to a hundredth of one (Chebyshev).
_C0, _C1, _C2 = np.float32(-15.71302), np.float32(42.04532), np.float32(317.35335)
_C3, _C4, _C5 = np.float32(-142.30492), np.float32(69.65187), np.float32(-16.03365)
_TOE, _TOE_ENDS = np.float32(255 * 12.92), np.float32(0.0031308)
# Pixels looked at together for colours that do not fit.
_BLOCK = 64
_DOWN, _MIXED = np.uint32(0x5BD1E995), np.uint32(0x9E3779B1)
_RED, _GREEN, _BLUE = np.float32(0.21263901), np.float32(0.71516868), np.float32(0.07219232)


@inlined
def luminance(red, green, blue):  # type: ignore[no-untyped-def]
    """Relative luminance of linear sRGB."""
    return _RED * red + _GREEN * green + _BLUE * blue


@kernel
def balance(planes, gains, first, last):  # type: ignore[no-untyped-def]
    """White balance in place. planes : float32, (3, height, width). gains : float32, (3,)."""
    for channel in range(3):
        gain = gains[channel]
        for row in range(first, last):
            line = planes[channel, row]
            for column in range(planes.shape[2]):
                line[np.uintp(column)] *= gain


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
def copied(source, planes, first, last):  # type: ignore[no-untyped-def]
    """The same light in other planes. Both float32, (3, height, width)."""
    for channel in range(3):
        for row in range(first, last):
            line, target = source[channel, row], planes[channel, row]
            for column in range(planes.shape[2]):
                target[np.uintp(column)] = line[np.uintp(column)]


@kernel
def scale(planes, gain, first, last):  # type: ignore[no-untyped-def]
    """Multiply everything by one gain, in place."""
    for channel in range(3):
        for row in range(first, last):
            line = planes[channel, row]
            for column in range(planes.shape[2]):
                line[np.uintp(column)] *= gain


@kernel
def change_chroma(planes, amount, muted, first, last):  # type: ignore[no-untyped-def]
    """Move colours away from or towards the grey of their luminance, in place."""
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for column in range(planes.shape[2]):
            x = np.uintp(column)
            red, green, blue = reds[x], greens[x], blues[x]
            light = luminance(red, green, blue)
            most = max(max(red, max(green, blue)), np.float32(1e-9))
            least = max(min(red, min(green, blue)), _ZERO)
            spare = _ONE - min(max((most - least) / most, _ZERO), _ONE)
            factor = max(_ONE + amount + muted * spare, _ZERO)
            reds[x] = light + factor * (red - light)
            greens[x] = light + factor * (green - light)
            blues[x] = light + factor * (blue - light)


@inlined
def _all_fit(reds, greens, blues, start, stop):  # type: ignore[no-untyped-def]
    """Whether no channel of these pixels is below 0 or above 1."""
    # Gathered as whole numbers: least and most of floats are found one by one.
    outside = np.int32(0)
    for column in range(start, stop):
        x = np.uintp(column)
        least = min(reds[x], min(greens[x], blues[x]))
        most = max(reds[x], max(greens[x], blues[x]))
        outside |= np.int32((least < _ZERO) | (most > _ONE))
    return outside == 0


@kernel
def fit_colours(planes, first, last):  # type: ignore[no-untyped-def]
    """Bring colours of the same hue inside 0 to 1, in place; those inside stay as they are.

    What is too saturated is drawn towards the luminance of what can be shown of it. What is too bright keeps
    its hue and runs to white the brighter it is: the core of an aurora keeps its structure, which channels
    clipped on their own would lose, along with the hue.
    """
    for row in range(first, last):
        reds, greens, blues = planes[0, row], planes[1, row], planes[2, row]
        for start in range(0, planes.shape[2], _BLOCK):
            stop = min(start + _BLOCK, planes.shape[2])
            if _all_fit(reds, greens, blues, start, stop):
                continue
            for column in range(start, stop):
                x = np.uintp(column)
                red, green, blue = reds[x], greens[x], blues[x]
                least = min(red, min(green, blue))
                light = luminance(max(red, _ZERO), max(green, _ZERO), max(blue, _ZERO))
                outside = max(-least, _ZERO)
                kept = light / max(light + outside, _LEAST)
                new_red = light + kept * (red - light)
                new_green = light + kept * (green - light)
                new_blue = light + kept * (blue - light)
                most = max(new_red, max(new_green, new_blue))
                share = _ONE / max(most, _ONE)
                white = _ONE - share
                share = share * share
                inside = min(least, _ONE - max(red, max(green, blue))) >= _ZERO
                reds[x] = red if inside else new_red * share + white
                greens[x] = green if inside else new_green * share + white
                blues[x] = blue if inside else new_blue * share + white


@inlined
def _scattered(number):  # type: ignore[no-untyped-def]
    """32 fixed pseudo-random bits for a whole number."""
    state = np.uint32(number) * np.uint32(0x9E3779B1) + np.uint32(0x85EBCA77)
    state = np.uint32(np.uint32(state ^ np.uint32(state >> np.uint32(15))) * np.uint32(0x2C1B3C6D))
    state = np.uint32(np.uint32(state ^ np.uint32(state >> np.uint32(12))) * np.uint32(0x297A2D39))
    return np.uint32(state ^ np.uint32(state >> np.uint32(15)))


@kernel
def display(planes, table, out, first, last):  # type: ignore[no-untyped-def]
    """Linear sRGB 0 to 1 → 16 bits.

    table : float32, numbers for light at evenly spaced square roots 0 to 1. out : uint16, (height, width, 3).
    """
    width = planes.shape[2]
    steps = np.float32(table.shape[0] - 1)
    positions, places = np.empty(width, np.float32), np.empty(width, np.int32)
    values = np.empty(width, np.float32)
    for row in range(first, last):
        target = out[row]
        for channel in range(3):
            line = planes[channel, row]
            for column in range(width):
                x = np.uintp(column)
                positions[x] = np.sqrt(min(max(line[x], _ZERO), _ONE)) * steps
            look_up(table, positions, places, values)
            for column in range(width):
                target[np.uintp(column), channel] = np.uint16(np.int32(values[np.uintp(column)] + _HALF))


@kernel
def display_dithered(planes, out, first, last):  # type: ignore[no-untyped-def]
    """Linear sRGB 0 to 1 → 8 bits, rounded up or down by place, so that smooth skies do not band.

    Numbers that are whole already stay. out : uint8, (height, width, 3).
    """
    width = planes.shape[2]
    across, scattered = np.empty(width, np.uint32), np.empty(width, np.uint32)
    for column in range(width):
        across[np.uintp(column)] = _scattered(np.uint32(column))
    values, numbers = np.empty(width, np.float32), np.empty((3, width), np.uint8)
    lines = out.reshape(out.shape[0], 3 * out.shape[1])
    for row in range(first, last):
        down = np.uint32(_scattered(np.uint32(row)) ^ _DOWN)
        for column in range(width):
            x = np.uintp(column)
            state = np.uint32(np.uint32(across[x] ^ down) * _MIXED)
            scattered[x] = np.uint32(state ^ np.uint32(state >> np.uint32(15)))
        for channel in range(3):
            line, rounded = planes[channel, row], numbers[channel]
            for column in range(width):
                x = np.uintp(column)
                level = min(max(line[x], _ZERO), _ONE)
                root = np.sqrt(np.sqrt(level))
                bent = _C0 + root * (_C1 + root * (_C2 + root * (_C3 + root * (_C4 + root * _C5))))
                values[x] = level * _TOE if level < _TOE_ENDS else bent
            shift = np.uint32(11 * channel)
            for column in range(width):
                x = np.uintp(column)
                bits = np.int32(np.uint32(scattered[x] >> shift) & np.uint32(1023))
                rounded[x] = np.uint8(np.int32(values[x] + (_ROUNDED + _SPREAD * np.float32(bits))))
        target = lines[row]
        reds, greens, blues = numbers[0], numbers[1], numbers[2]
        for column in range(width):
            x, place = np.uintp(column), np.uintp(3 * column)
            target[place] = reds[x]
            target[place + np.uintp(1)] = greens[x]
            target[place + np.uintp(2)] = blues[x]
