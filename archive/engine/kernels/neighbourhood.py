"""Means over square neighbourhoods, guided-filter coefficients, and moving planes between sizes."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel

_ZERO, _HALF = np.float32(0), np.float32(0.5)


@kernel
def box_mean(source, radius, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over (2 · radius + 1)² pixels, fewer at the rim. source, out : float32, (height, width)."""
    height = source.shape[0]
    width = source.shape[1]
    sums = np.zeros(width, np.float64)
    padded = np.zeros(width + 2 * radius, np.float32)
    shares = np.empty(width, np.float32)
    for column in range(width):
        shares[column] = 1.0 / (min(width - 1, column + radius) - max(0, column - radius) + 1)
    for row in range(max(0, first - radius), min(height, first + radius + 1)):
        _add(sums, source[row], 1.0)
    for row in range(first, last):
        rows = min(height - 1, row + radius) - max(0, row - radius) + 1
        share = 1.0 / rows
        for column in range(width):
            padded[np.uintp(column + radius)] = np.float32(sums[np.uintp(column)] * share)
        target = out[row]
        for column in range(width):
            target[np.uintp(column)] = padded[np.uintp(column)]
        for k in range(1, 2 * radius + 1):
            shifted = padded[k:]
            for column in range(width):
                target[np.uintp(column)] += shifted[np.uintp(column)]
        for column in range(width):
            target[np.uintp(column)] *= shares[np.uintp(column)]
        if row + radius + 1 < height:
            _add(sums, source[row + radius + 1], 1.0)
        if row - radius >= 0:
            _add(sums, source[row - radius], -1.0)


@kernel
def _add(sums, line, sign):  # type: ignore[no-untyped-def]
    for column in range(sums.shape[0]):
        sums[np.uintp(column)] += sign * line[np.uintp(column)]


@kernel
def products(guide, target, guide_squared, crossed, first, last):  # type: ignore[no-untyped-def]
    """guide² and guide · target, whose means a guided filter needs."""
    for row in range(first, last):
        light, aim, squared, both = guide[row], target[row], guide_squared[row], crossed[row]
        for column in range(guide.shape[1]):
            x = np.uintp(column)
            squared[x] = light[x] * light[x]
            both[x] = light[x] * aim[x]


@kernel
def guided_coefficients(  # type: ignore[no-untyped-def]
    mean_guide, mean_target, mean_squared, mean_crossed, tolerance, slope, offset, first, last
):
    """Where the guide varies by more than ``tolerance`` (variance) the target follows it, else its mean."""
    for row in range(first, last):
        guide, target = mean_guide[row], mean_target[row]
        squared, crossed = mean_squared[row], mean_crossed[row]
        slopes, offsets = slope[row], offset[row]
        for column in range(mean_guide.shape[1]):
            x = np.uintp(column)
            variance = max(squared[x] - guide[x] * guide[x], _ZERO)
            steepness = (crossed[x] - guide[x] * target[x]) / (variance + tolerance)
            slopes[x] = steepness
            offsets[x] = target[x] - steepness * guide[x]


@kernel
def shrink(source, factor, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over ``factor`` × ``factor`` pixels, fewer at the right and lower rim."""
    height = source.shape[0]
    width = source.shape[1]
    sums = np.empty(width, np.float32)
    for row in range(first, last):
        rows = min(factor, height - row * factor)
        sums[:] = _ZERO
        for j in range(rows):
            line = source[row * factor + j]
            for column in range(width):
                sums[np.uintp(column)] += line[np.uintp(column)]
        for column in range(out.shape[1]):
            columns = min(factor, width - column * factor)
            total = _ZERO
            for i in range(columns):
                total += sums[column * factor + i]
            out[row, column] = total / np.float32(rows * columns)


@kernel
def apply_here(guide, slope, offset, out, first, last):  # type: ignore[no-untyped-def]
    """slope · guide + offset, all planes of one size."""
    for row in range(first, last):
        light, slopes, offsets, target = guide[row], slope[row], offset[row], out[row]
        for column in range(guide.shape[1]):
            x = np.uintp(column)
            target[x] = slopes[x] * light[x] + offsets[x]


@kernel
def apply_between(  # type: ignore[no-untyped-def]
    guide, slope, offset, factor, lefts, shares, out, first, last
):
    """slope · guide + offset, both read between their pixels from planes that are ``factor`` times smaller.

    lefts : int32, the small column left of every column. shares : float32, how far towards the next.
    """
    rows = slope.shape[0]
    columns = slope.shape[1]
    step = np.float32(1.0 / factor)
    slopes = np.empty(columns + 1, np.float32)
    offsets = np.empty(columns + 1, np.float32)
    for row in range(first, last):
        y = min(max((np.float32(row) + _HALF) * step - _HALF, _ZERO), np.float32(rows - 1))
        above = min(int(y), max(rows - 2, 0))
        below = min(above + 1, rows - 1)
        part = y - np.float32(above)
        for column in range(columns):
            x = np.uintp(column)
            slopes[x] = slope[above, x] + part * (slope[below, x] - slope[above, x])
            offsets[x] = offset[above, x] + part * (offset[below, x] - offset[above, x])
        slopes[columns] = slopes[columns - 1]
        offsets[columns] = offsets[columns - 1]
        target, light = out[row], guide[row]
        for column in range(guide.shape[1]):
            x = np.uintp(column)
            left = np.uintp(lefts[x])
            right = left + np.uintp(1)
            steepness = slopes[left] + shares[x] * (slopes[right] - slopes[left])
            level = offsets[left] + shares[x] * (offsets[right] - offsets[left])
            target[x] = steepness * light[x] + level


@kernel
def blur_down(source, weights, out, first, last):  # type: ignore[no-untyped-def]
    """Rows smoothed downwards with symmetric weights (centre first), the rim repeated."""
    height = source.shape[0]
    for row in range(first, last):
        target = out[row]
        centre = source[row]
        for column in range(source.shape[1]):
            target[np.uintp(column)] = weights[0] * centre[np.uintp(column)]
        for k in range(1, weights.shape[0]):
            above = source[max(row - k, 0)]
            below = source[min(row + k, height - 1)]
            weight = weights[k]
            for column in range(source.shape[1]):
                x = np.uintp(column)
                target[x] += weight * (above[x] + below[x])


@kernel
def blur_across(source, weights, out, first, last):  # type: ignore[no-untyped-def]
    """Rows smoothed across with symmetric weights (centre first), the rim repeated."""
    width = source.shape[1]
    reach = weights.shape[0] - 1
    padded = np.empty(width + 2 * reach, np.float32)
    for row in range(first, last):
        line = source[row]
        for column in range(width):
            padded[np.uintp(column + reach)] = line[np.uintp(column)]
        for k in range(reach):
            padded[k] = line[0]
            padded[width + reach + k] = line[width - 1]
        target = out[row]
        for column in range(width):
            target[np.uintp(column)] = weights[0] * padded[np.uintp(column + reach)]
        for k in range(1, reach + 1):
            weight = weights[k]
            for column in range(width):
                total = padded[np.uintp(column + reach - k)] + padded[np.uintp(column + reach + k)]
                target[np.uintp(column)] += weight * total
