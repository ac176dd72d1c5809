"""The colours of stars, which are not those of the sky behind them."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import extend
from archive.engine.kernels.numeric import smoothstep

_ZERO, _SMALL = np.float32(0), np.float32(1e-12)
# A star's light is so near to its middle; the sky begins one pixel farther.
_WITHIN = 2
_AROUND = _WITHIN + 1
# Pixels that are looked through for peaks at once.
_LANES = 16
# What a star has in the 3 × 3 pixels of its middle, of all squared detail around: an edge has less.
_SPREAD, _GATHERED = np.float32(0.45), np.float32(0.65)
# What has several colours is no star: half of it where so much, squared, differs from one slope.
_MOTLEY = np.float32(0.01)


@kernel
def own_colours(  # type: ignore[no-untyped-def]
    shares, luma, detail, tinges, noise, usual, slopes, offsets, first, last
):
    """Let colour differences follow luma as stars' own light does, where there are stars, not as the sky's.

    How steeply they do so is measured where luma and a difference stand out together (least squares), and
    held the nearer to 0, which is white, the less it can be told. Of two stars the brighter has the pixels
    between.

    shares : float32, how surely a pixel is a star's, 0 to 1. luma : float32. detail, tinges : float32, what
    luma and two differences have beyond their half-size versions. noise : float32, variances of these three.
    usual : variance of the slopes of stars. slopes, offsets : float32, difference = slope · luma + offset,
    two planes each, changed in place. All planes are (height, width).
    """
    height = shares.shape[0]
    width = shares.shape[1]
    top, bottom = max(first - _WITHIN, 0), min(last + _WITHIN, height)
    # Whose every pixel is: the brightest star's so far, by its number, and how bright that is.
    owners = np.empty((last - first, width), np.uint32)
    peaks = np.zeros((last - first, width), np.float32)
    # Of each star: two slopes, how surely it is one, the sky around; and where it is.
    found = np.empty(((bottom - top) * width, 4), np.float32)
    places = np.empty(((bottom - top) * width, 2), np.int32)
    count = np.uintp(0)
    tall, marks = np.empty(width + 2, np.float32), np.empty(width + _LANES, np.int32)
    for row in range(top, bottom):
        _mark_peaks(detail, shares, row, tall, marks)
        for start in range(0, width, _LANES):
            any_peak = np.int32(0)
            for column in range(start, start + _LANES):
                any_peak |= marks[np.uintp(column)]
            if any_peak == 0:
                continue
            for column in range(start, start + _LANES):
                if marks[np.uintp(column)] == 0:
                    continue
                gathered = _gathered(detail, noise[0], row, column)
                # Most of what stands out is no star.
                if gathered == _ZERO:
                    continue
                star = found[count]
                star[0], star[1], alike, star[3] = _measured(luma, detail, tinges, noise, usual, row, column)
                star[2] = gathered * alike
                places[count, 0], places[count, 1] = row, column
                _claim(peaks, owners, detail[row, column], count, row - first, column)
                count += np.uintp(1)
    for number in range(count):
        row, column = places[number, 0], places[number, 1]
        star = found[number]
        left, right = max(column - _WITHIN, 0), min(column + _WITHIN + 1, width)
        for y in range(max(row - _WITHIN, first), min(row + _WITHIN + 1, last)):
            for x in range(left, right):
                at = np.uintp(y - first), np.uintp(x)
                if owners[at] != number:
                    continue
                at = np.uintp(y), np.uintp(x)
                for k in range(2):
                    change = shares[at] * star[2] * (star[k] - slopes[k][at])
                    slopes[k][at] += change
                    # The sky around keeps its colour.
                    offsets[k][at] -= change * star[3]


@inlined
def _mark_peaks(detail, shares, row, tall, marks):  # type: ignore[no-untyped-def]
    """1 where a row's detail is positive, nowhere larger in the eight pixels around, and may be a star's."""
    height = detail.shape[0]
    width = detail.shape[1]
    above, here, below = detail[max(row - 1, 0)], detail[row], detail[min(row + 1, height - 1)]
    line, inner = shares[row], tall[1:]
    for column in range(width):
        x = np.uintp(column)
        inner[x] = max(here[x], max(above[x], below[x]))
    extend(tall, 1, width)
    for column in range(width):
        x = np.uintp(column)
        most = max(max(tall[x], tall[np.uintp(column + 1)]), tall[np.uintp(column + 2)])
        marks[x] = np.int32((here[x] >= most) & (here[x] > _ZERO) & (line[x] > _ZERO))
    for column in range(width, width + _LANES):
        marks[np.uintp(column)] = 0


@inlined
def _claim(peaks, owners, peak, number, row, column):  # type: ignore[no-untyped-def]
    """Give a star the pixels near its middle that no brighter one has."""
    left, right = max(column - _WITHIN, 0), min(column + _WITHIN + 1, peaks.shape[1])
    for y in range(max(row - _WITHIN, 0), min(row + _WITHIN + 1, peaks.shape[0])):
        for x in range(left, right):
            at = np.uintp(y), np.uintp(x)
            if peak > peaks[at]:
                peaks[at] = peak
                owners[at] = number


@inlined
def _gathered(detail, noise, row, column):  # type: ignore[no-untyped-def]
    """How surely what stands out here is as small as a star, 0 to 1."""
    whole = inner = _ZERO
    count = 0
    left, right = max(column - _AROUND, 0), min(column + _AROUND + 1, detail.shape[1])
    for y in range(max(row - _AROUND, 0), min(row + _AROUND + 1, detail.shape[0])):
        line = detail[y]
        for x in range(left, right):
            whole += line[np.uintp(x)] * line[np.uintp(x)]
        count += right - left
        if abs(y - row) <= 1:
            for x in range(max(column - 1, 0), min(column + 2, detail.shape[1])):
                inner += line[np.uintp(x)] * line[np.uintp(x)] - noise
    whole = max(whole - np.float32(count) * noise, _SMALL)
    return smoothstep(inner / whole, _SPREAD, _GATHERED)


@kernel
def _measured(luma, detail, tinges, noise, usual, row, column):  # type: ignore[no-untyped-def]
    """Slopes of two differences at a star of this middle, how much alike its colours are, the sky around."""
    light = sky = warm = warmest = cold = coldest = _ZERO
    near = around = 0
    for y in range(max(row - _AROUND, 0), min(row + _AROUND + 1, luma.shape[0])):
        for x in range(max(column - _AROUND, 0), min(column + _AROUND + 1, luma.shape[1])):
            if max(abs(y - row), abs(x - column)) == _AROUND:
                sky += luma[y, x]
                around += 1
                continue
            here = detail[y, x]
            light += here * here
            warm += here * tinges[0, y, x]
            warmest += tinges[0, y, x] * tinges[0, y, x]
            cold += here * tinges[1, y, x]
            coldest += tinges[1, y, x] * tinges[1, y, x]
            near += 1
    light = max(light - np.float32(near) * noise[0], _SMALL)
    motley = max(warmest - warm * warm / light - np.float32(near) * noise[1], _ZERO)
    motley += max(coldest - cold * cold / light - np.float32(near) * noise[2], _ZERO)
    return (
        warm / (light + noise[1] / usual), cold / (light + noise[2] / usual),
        _MOTLEY / (_MOTLEY + motley / light), sky / np.float32(max(around, 1)),
    )  # fmt: skip
