"""Mosaic or picture → output-size planes by area averaging, each colour at its true place.

Weights come in as tables made by ``area_weights``: for every output sample the first source sample and a
fixed number of weights.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.hotpixels import replace
from archive.engine.kernels.numeric import clear

Weights = tuple[npt.NDArray[np.int32], npt.NDArray[np.float32]]

_ZERO, _HALF = np.float32(0), np.float32(0.5)
# Rows made of samples that stay near a core after they were cooled; and how far cooling looks, an even number
# of rows, so that colours stay at their places.
_FEW, _LOOKS = 16, 2


def area_weights(count: int, start: float, length: float, samples: int, pitch: int, phase: int) -> Weights:
    """Which source samples an output sample averages, and how much of each.

    Parameters
    ----------
    count : output samples over the source interval from ``start`` of ``length`` (source pixels).
    samples, pitch, phase : the source has ``samples`` samples, centred at ``pitch * i + phase + 0.5``.

    Returns
    -------
    first : int32, (count,), index i of the first sample used.
    weights : float32, (count, taps); each row sums to 1 and its centre of gravity is the output sample's
    centre
        wherever the source reaches, so that colours of a mosaic keep their places.
    """
    step = length / count
    reach = max(step, float(pitch))
    taps = min(samples, int(np.ceil(reach / pitch)) + 1)
    centres = start + (np.arange(count) + 0.5) * step
    first = np.ceil((centres - (reach + pitch) / 2 - phase - 0.5) / pitch).astype(np.int64)
    first = np.clip(first, 0, samples - taps)
    places = (first[:, None] + np.arange(taps)) * pitch + phase + 0.5
    offsets = places - centres[:, None]
    overlap = np.minimum(offsets + pitch / 2, reach / 2) - np.maximum(offsets - pitch / 2, -reach / 2)
    weights = np.maximum(overlap, 0)
    weights[np.arange(count), np.argmin(np.abs(offsets), axis=1)] += 1e-9
    weights /= weights.sum(axis=1, keepdims=True)
    moment = (weights * offsets).sum(axis=1)
    spread = (weights * offsets**2).sum(axis=1) - moment**2
    tilt = np.where(spread > 1e-6, moment / np.maximum(spread, 1e-6), 0.0)
    corrected = weights * (1 - tilt[:, None] * (offsets - moment[:, None]))
    # At the frame's rim a sample may have neighbours on one side only: there the plain average stands.
    weights = np.where((corrected.min(axis=1) >= 0)[:, None], corrected, weights)
    return first.astype(np.int32), weights.astype(np.float32)


@kernel
def reduce_mosaic(mosaic, levels, tables, out, first, last):  # type: ignore[no-untyped-def]
    """Rows of area-averaged planes straight from a mosaic.

    mosaic : uint16, (height, width). out : float32, (3, rows, columns).
    levels : channels, blacks, scales and caps; int32, (4,), the channel at each place of the 2×2 pattern, and
    float32, (4,): value = (min(count, cap) − black) · scale.
    tables : first_row, row_weights, first_column and column_weights; int32, (2, rows) and float32,
    (2, rows, taps), for even and odd source rows, and the same for columns, with taps before columns:
    (2, taps, columns).
    """
    channels, blacks, scales, caps = levels
    first_row, row_weights, first_column, column_weights = tables
    width = mosaic.shape[1]
    columns = out.shape[2]
    # Rows and columns of each place apart, with room for taps of no weight beyond the end.
    sums = np.zeros((2, 2, (width + 1) // 2 + column_weights.shape[1]), np.float32)
    lines = np.empty((2, columns), np.float32)
    for row in range(first, last):
        for down in range(2):
            evens, odds = sums[down, 0], sums[down, 1]
            clear(evens, (width + 1) // 2)
            clear(odds, width // 2)
            weights = row_weights[down, row]
            most, most_beside = caps[2 * down], caps[2 * down + 1]
            taps = weights.shape[0]
            # What has no weight may lie beyond the mosaic.
            while taps > 0 and weights[taps - 1] == _ZERO:
                taps -= 1
            place = 2 * first_row[down, row] + down
            tap = 0
            while tap + 2 < taps:
                one, two, three = mosaic[place], mosaic[place + 2], mosaic[place + 4]
                shares = weights[tap], weights[tap + 1], weights[tap + 2]
                _add_three(one, two, three, shares, most, evens)
                _add_three(one[1:], two[1:], three[1:], shares, most_beside, odds)
                place += 6
                tap += 3
            while tap < taps:
                _add_one(mosaic[place], weights[tap], most, evens)
                _add_one(mosaic[place][1:], weights[tap], most_beside, odds)
                place += 2
                tap += 1
        for channel in range(3):
            clear(out[channel, row], columns)
        for across in range(2):
            # Both places of a column are read off together: they are weighed alike.
            _gathered_twice(
                sums[0, across], sums[1, across], first_column[across], column_weights[across], lines
            )
            for down in range(2):
                place = 2 * down + across
                share = (_HALF if channels[place] == 1 else np.float32(1)) * scales[place]
                black = blacks[place]
                line, target = lines[down], out[channels[place], row]
                for column in range(columns):
                    target[np.uintp(column)] += share * (line[np.uintp(column)] - black)


@kernel
def reduce_cooled(mosaic, glowing, levels, tables, out, first, last):  # type: ignore[no-untyped-def]
    """As ``reduce_mosaic`` makes of what ``hotpixels.replace`` makes of the mosaic, which is nowhere kept.

    glowing : the blacks, reach, slope and read by which samples that glow are told.
    """
    dark, reach, slope, read = glowing
    first_row, row_weights, first_column, column_weights = tables
    height = mosaic.shape[0]
    taps = row_weights.shape[2]
    moved = np.empty_like(first_row)
    for start in range(first, last, _FEW):
        end = min(start + _FEW, last)
        lowest = 2 * min(first_row[0, start], first_row[1, start])
        highest = min(2 * (max(first_row[0, end - 1], first_row[1, end - 1]) + taps), height)
        top, bottom = max(lowest - _LOOKS, 0), min(highest + _LOOKS, height)
        cooled = np.empty((bottom - top, mosaic.shape[1]), np.uint16)
        replace(mosaic[top:bottom], dark, reach, slope, read, cooled, lowest - top, highest - top)
        for down in range(2):
            for row in range(start, end):
                moved[down, row] = first_row[down, row] - top // 2
        there = moved, row_weights, first_column, column_weights
        reduce_mosaic(cooled, levels, there, out, start, end)


@kernel
def _add_three(one, two, three, shares, most, sums):  # type: ignore[no-untyped-def]
    """Add every second count of three rows, held at ``most``, times the rows' shares."""
    first, second, third = shares
    for index in range((one.shape[0] + 1) // 2):
        x, place = np.uintp(index), np.uintp(2 * index)
        total = sums[x] + first * min(np.float32(one[place]), most)
        total += second * min(np.float32(two[place]), most)
        sums[x] = total + third * min(np.float32(three[place]), most)


@kernel
def _add_one(source, share, most, sums):  # type: ignore[no-untyped-def]
    """Add every second count of a row, held at ``most``, times the row's share."""
    for index in range((source.shape[0] + 1) // 2):
        sums[np.uintp(index)] += share * min(np.float32(source[np.uintp(2 * index)]), most)


@kernel
def _gathered_twice(source, other, first_column, weights, lines):  # type: ignore[no-untyped-def]
    """lines[·, i] = sum of weights[k, i] · source[first_column[i] + k], and of the other source."""
    line, beside = lines[0], lines[1]
    taps = weights.shape[0]
    start = 0
    if taps < 3:
        clear(line, line.shape[0])
        clear(beside, line.shape[0])
    else:
        # Most pictures need three: they are read and added in one go.
        start = 3
        first, second, third = weights[0], weights[1], weights[2]
        for column in range(line.shape[0]):
            x = np.uintp(column)
            place = np.uintp(first_column[x])
            after, last = place + np.uintp(1), place + np.uintp(2)
            line[x] = first[x] * source[place] + second[x] * source[after] + third[x] * source[last]
            beside[x] = first[x] * other[place] + second[x] * other[after] + third[x] * other[last]
    for tap in range(start, taps):
        shares = weights[tap]
        for column in range(line.shape[0]):
            x = np.uintp(column)
            place = np.uintp(first_column[x] + tap)
            line[x] += shares[x] * source[place]
            beside[x] += shares[x] * other[place]


@kernel
def _gathered(source, first_column, weights, line):  # type: ignore[no-untyped-def]
    """line[i] = sum of weights[k, i] · source[first_column[i] + k]."""
    clear(line, line.shape[0])
    for tap in range(weights.shape[0]):
        shares = weights[tap]
        for column in range(line.shape[0]):
            x = np.uintp(column)
            line[x] += shares[x] * source[np.uintp(first_column[x] + tap)]


@kernel
def reduce_planes(  # type: ignore[no-untyped-def]
    planes, first_row, row_weights, first_column, column_weights, out, first, last
):
    """Rows of area-averaged planes from planes, float32, (3, height, width); weights as for a mosaic."""
    width = planes.shape[2]
    sums = np.empty(width, np.float32)
    for row in range(first, min(last, out.shape[1])):
        for channel in range(3):
            clear(sums, width)
            for tap in range(row_weights.shape[1]):
                weight = row_weights[row, tap]
                source = planes[channel, first_row[row] + tap]
                for column in range(width):
                    sums[np.uintp(column)] += weight * source[np.uintp(column)]
            _gathered(sums, first_column, column_weights, out[channel, row])
