"""Means over square neighbourhoods, guided-filter coefficients, and moving planes between sizes."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel

_HALF = np.float32(0.5)


@kernel
def box_mean(source, radius, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over (2 · radius + 1)² pixels, fewer at the rim. source, out : float32, (height, width)."""
    height = source.shape[0]
    width = source.shape[1]
    sums = np.zeros(width, np.float64)
    for row in range(max(0, first - radius), min(height, first + radius + 1)):
        line = source[row]
        for column in range(width):
            sums[np.uintp(column)] += line[np.uintp(column)]
    for row in range(first, last):
        high = min(height - 1, row + radius)
        low = max(0, row - radius)
        _across(sums, radius, high - low + 1, out[row])
        if row + radius + 1 < height:
            entering = source[row + radius + 1]
            for column in range(width):
                sums[np.uintp(column)] += entering[np.uintp(column)]
        if row - radius >= 0:
            leaving = source[row - radius]
            for column in range(width):
                sums[np.uintp(column)] -= leaving[np.uintp(column)]


@kernel
def _across(sums, radius, rows, target):  # type: ignore[no-untyped-def]
    width = sums.shape[0]
    total = 0.0
    for column in range(min(width, radius)):
        total += sums[column]
    for column in range(width):
        if column + radius < width:
            total += sums[column + radius]
        if column - radius - 1 >= 0:
            total -= sums[column - radius - 1]
        count = rows * (min(width - 1, column + radius) - max(0, column - radius) + 1)
        target[column] = np.float32(total / count)


@kernel
def products(guide, target, guide_squared, crossed, first, last):  # type: ignore[no-untyped-def]
    """guide² and guide · target, whose means a guided filter needs."""
    for row in range(first, last):
        for column in range(guide.shape[1]):
            value = guide[row, column]
            guide_squared[row, column] = value * value
            crossed[row, column] = value * target[row, column]


@kernel
def guided_coefficients(  # type: ignore[no-untyped-def]
    mean_guide, mean_target, mean_squared, mean_crossed, tolerance, slope, offset, first, last
):
    """Where the guide varies by more than ``tolerance`` (a variance) the target follows it, elsewhere its mean."""
    for row in range(first, last):
        for column in range(mean_guide.shape[1]):
            guide = mean_guide[row, column]
            target = mean_target[row, column]
            variance = max(mean_squared[row, column] - guide * guide, np.float32(0))
            steepness = (mean_crossed[row, column] - guide * target) / (variance + tolerance)
            slope[row, column] = steepness
            offset[row, column] = target - steepness * guide


@kernel
def shrink(source, factor, out, first, last):  # type: ignore[no-untyped-def]
    """Mean over ``factor`` × ``factor`` pixels, fewer at the right and lower rim."""
    height = source.shape[0]
    width = source.shape[1]
    for row in range(first, last):
        rows = min(factor, height - row * factor)
        for column in range(out.shape[1]):
            columns = min(factor, width - column * factor)
            total = np.float32(0)
            for j in range(rows):
                for i in range(columns):
                    total += source[row * factor + j, column * factor + i]
            out[row, column] = total / np.float32(rows * columns)


@kernel
def apply_guided(guide, slope, offset, factor, out, first, last):  # type: ignore[no-untyped-def]
    """slope · guide + offset, both read between their pixels from planes that are ``factor`` times smaller."""
    width = guide.shape[1]
    rows = slope.shape[0]
    columns = slope.shape[1]
    step = np.float32(1.0 / factor)
    line_slope = np.empty(columns, np.float32)
    line_offset = np.empty(columns, np.float32)
    for row in range(first, last):
        y = min(max((np.float32(row) + _HALF) * step - _HALF, np.float32(0)), np.float32(rows - 1))
        above = min(int(y), max(rows - 2, 0))
        below = min(above + 1, rows - 1)
        part = y - np.float32(above)
        for column in range(columns):
            x = np.uintp(column)
            line_slope[x] = slope[above, x] + part * (slope[below, x] - slope[above, x])
            line_offset[x] = offset[above, x] + part * (offset[below, x] - offset[above, x])
        target = out[row]
        light = guide[row]
        for column in range(width):
            x = min(max((np.float32(column) + _HALF) * step - _HALF, np.float32(0)), np.float32(columns - 1))
            left = min(int(x), max(columns - 2, 0))
            right = min(left + 1, columns - 1)
            share = x - np.float32(left)
            steepness = line_slope[left] + share * (line_slope[right] - line_slope[left])
            level = line_offset[left] + share * (line_offset[right] - line_offset[left])
            target[column] = steepness * light[column] + level


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
