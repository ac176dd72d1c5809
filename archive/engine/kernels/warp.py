"""Planes resampled once along a curved map: down each source column, then along the output row.

Along an output row the map gives each source column the height at which it is cut; the cuts are made first,
many columns at once, and then read off at the output pixels' places. Reductions average by area, and both
steps put the centre of what they average where the output pixel is; at full size the interpolation is
Catmull and Rom's.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.numeric import count_up, look_up

_ZERO, _HALF, _ONE, _TWO = np.float32(0), np.float32(0.5), np.float32(1), np.float32(2)
_THREE, _FOUR, _FIVE = np.float32(3), np.float32(4), np.float32(5)
_FLAT = np.float32(1e-3)


@kernel
def lattice(mosaic, down, across, black, scale, cap, out, first, last):  # type: ignore[no-untyped-def]
    """Every second sample of every second row as light. out : float32, (rows, columns) of that colour."""
    for row in range(first, last):
        source, target = mosaic[2 * row + down], out[row]
        for column in range(out.shape[1]):
            count = np.float32(source[np.uintp(2 * column + across)])
            target[np.uintp(column)] = min((count - black) * scale, cap)


@kernel
def warp(planes, knots_x, knots_y, step, span_across, span_down, share, out, first, last):  # type: ignore[no-untyped-def]
    """Add planes, resampled, times ``share`` to rows of the output.

    planes : float32, (planes, height, width). knots_x, knots_y : float64, (rows, columns): where the output
    pixels at multiples of ``step`` lie, in the planes' samples, 0 the centre of the first. span_across,
    span_down : float32, samples per output pixel when reducing; 0 interpolates. out : float32, (planes, rows,
    columns).
    """
    width = planes.shape[2]
    columns = out.shape[2]
    taps_across = 4 if span_across == _ZERO else int(np.floor(span_across)) + 2
    taps_down = 4 if span_down == _ZERO else int(np.floor(span_down)) + 2
    margin = taps_across + 1
    count = knots_x.shape[1]
    places_x = np.empty(count, np.float64)
    places_y = np.empty(count, np.float64)
    at = np.empty(columns, np.float32)
    heights = np.empty(width, np.float32)
    begins_across = np.empty(columns, np.int32)
    begins_down = np.empty(width, np.int32)
    shares_across = np.empty((taps_across, columns), np.float32)
    shares_down = np.empty((taps_down, width), np.float32)
    spare = np.empty((3, max(width, columns)), np.float32)
    ramp = np.empty(max(width, step), np.float32)
    count_up(ramp)
    cut = np.empty(width + 2 * margin, np.float32)
    for row in range(first, min(last, out.shape[1])):
        upper = row // step
        part = (row - upper * step) / step
        for i in range(count):
            places_x[i] = knots_x[upper, i] * (1 - part) + knots_x[upper + 1, i] * part
            places_y[i] = knots_y[upper, i] * (1 - part) + knots_y[upper + 1, i] * part
        _spread_out(places_x, step, ramp, at)
        low = min(max(int(np.floor(at[0])) - margin, 0), width - 1)
        high = max(min(int(np.ceil(at[columns - 1])) + margin + 1, width), low + 1)
        _heights(places_x, places_y, low, high, ramp, heights)
        for column in range(columns):
            x = np.uintp(column)
            at[x] = min(max(at[x], np.float32(low) - _HALF), np.float32(high) - _HALF)
        _weigh(heights, low, high, span_down, begins_down, shares_down, spare)
        _weigh(at, 0, columns, span_across, begins_across, shares_across, spare)
        for index in range(planes.shape[0]):
            _cut_columns(planes[index], low, high, begins_down, shares_down, cut[margin:])
            # Beyond the plane's sides its outermost values go on.
            for k in range(1, margin + 1):
                cut[margin + low - k] = cut[margin + low]
                cut[margin + high - 1 + k] = cut[margin + high - 1]
            if span_across == _ZERO:
                _read_runs(cut, margin, begins_across, shares_across, share, out[index, row])
            else:
                _read_off(cut, margin, begins_across, shares_across, share, out[index, row])


@kernel
def _spread_out(places, step, ramp, at):  # type: ignore[no-untyped-def]
    """Places of all output pixels of a row from those of its knots."""
    for i in range(places.shape[0] - 1):
        begin = i * step
        base = np.float32(places[i])
        slope = np.float32((places[i + 1] - places[i]) / step)
        part = at[begin : begin + step]
        for j in range(part.shape[0]):
            part[np.uintp(j)] = base + slope * ramp[np.uintp(j)]


@kernel
def _heights(places_x, places_y, low, high, ramp, heights):  # type: ignore[no-untyped-def]
    """Fill in at which height each source column from ``low`` to ``high`` is cut."""
    count = places_x.shape[0]
    begin = low
    for i in range(count - 1):
        slope = (places_y[i + 1] - places_y[i]) / (places_x[i + 1] - places_x[i])
        end = high if i == count - 2 else min(max(int(np.ceil(places_x[i + 1])), begin), high)
        base = np.float32(places_y[i] + (begin - places_x[i]) * slope)
        rise = np.float32(slope)
        part = heights[begin:end]
        for j in range(part.shape[0]):
            part[np.uintp(j)] = base + rise * ramp[np.uintp(j)]
        begin = end


@kernel
def _weigh(at, low, high, span, begins, shares, spare):  # type: ignore[no-untyped-def]
    """For places ``low`` to ``high`` the first sample that counts, and how much each from there on counts.

    Shares add up to 1, and their centre of gravity is the place. begins : int32; shares : float32, (taps, …).
    """
    if span == _ZERO:
        one, two, three, four = shares[0], shares[1], shares[2], shares[3]
        for j in range(low, high):
            x = np.uintp(j)
            whole = np.floor(at[x])
            t = at[x] - whole
            t2 = t * t
            t3 = t2 * t
            begins[x] = np.int32(whole) - np.int32(1)
            one[x] = _HALF * (_TWO * t2 - t3 - t)
            two[x] = _HALF * (_THREE * t3 - _FIVE * t2 + _TWO)
            three[x] = _HALF * (_FOUR * t2 - _THREE * t3 + t)
            four[x] = _HALF * (t3 - t2)
        return
    reach = _HALF * (span + _ONE)
    part = _ONE / span
    offsets, moments, spreads = spare[0], spare[1], spare[2]
    for j in range(low, high):
        x = np.uintp(j)
        begin = np.ceil(at[x] - reach)
        begins[x] = np.int32(begin)
        offsets[x] = begin - at[x]
        moments[x] = _ZERO
        spreads[x] = _ZERO
    for tap in range(shares.shape[0]):
        line = shares[tap]
        further = np.float32(tap)
        for j in range(low, high):
            x = np.uintp(j)
            offset = offsets[x] + further
            weight = part * min(max(reach - abs(offset), _ZERO), _ONE)
            line[x] = weight
            moments[x] += weight * offset
            spreads[x] += weight * offset * offset
    for j in range(low, high):
        x = np.uintp(j)
        spreads[x] = moments[x] / max(spreads[x] - moments[x] * moments[x], _FLAT)
    for tap in range(shares.shape[0]):
        line = shares[tap]
        further = np.float32(tap)
        for j in range(low, high):
            x = np.uintp(j)
            line[x] *= _ONE - spreads[x] * (offsets[x] + further - moments[x])


@kernel
def _cut_columns(plane, low, high, begins, shares, cut):  # type: ignore[no-untyped-def]
    """Values of columns at their heights; neighbours that begin at one row are cut together."""
    bottom = plane.shape[0] - 1
    start = low
    while start < high:
        begin = begins[start]
        stop = start + 1
        while stop < high and begins[stop] == begin:
            stop += 1
        target = cut[start:stop]
        for tap in range(shares.shape[0]):
            source = plane[min(max(begin + tap, 0), bottom)][start:stop]
            share = shares[tap][start:stop]
            if tap == 0:
                for j in range(stop - start):
                    target[np.uintp(j)] = share[np.uintp(j)] * source[np.uintp(j)]
            else:
                for j in range(stop - start):
                    target[np.uintp(j)] += share[np.uintp(j)] * source[np.uintp(j)]
        start = stop


@kernel
def _read_off(cut, margin, begins, shares, share, line):  # type: ignore[no-untyped-def]
    """Add the values along a cut at the output pixels' places."""
    most = cut.shape[0] - 1
    for tap in range(shares.shape[0]):
        weights = shares[tap]
        for column in range(line.shape[0]):
            x = np.uintp(column)
            place = min(begins[x] + np.int32(tap + margin), most)
            line[x] += share * weights[x] * cut[np.uintp(place)]


@kernel
def _read_runs(cut, margin, begins, shares, share, line):  # type: ignore[no-untyped-def]
    """The same at full size, where neighbours of the output mostly read neighbours of the cut."""
    columns = line.shape[0]
    start = 0
    while start < columns:
        begin = begins[start]
        stop = start + 1
        while stop < columns and begins[stop] - begin == stop - start:
            stop += 1
        count = stop - start
        target = line[start:stop]
        source = cut[begin + margin : begin + margin + count + 3]
        one, two = shares[0][start:stop], shares[1][start:stop]
        three, four = shares[2][start:stop], shares[3][start:stop]
        for j in range(count):
            x = np.uintp(j)
            value = one[x] * source[x] + two[x] * source[x + np.uintp(1)]
            value += three[x] * source[x + np.uintp(2)] + four[x] * source[x + np.uintp(3)]
            target[x] += share * value
        start = stop


@kernel
def gains_by_distance(table, knots_x, knots_y, step, gains, first, last):  # type: ignore[no-untyped-def]
    """Gains that depend on the squared distance from a centre.

    table : float32 gains at squared distances 0 to 1. knots_x, knots_y : float64, (rows, columns): distances
    from the centre of the pixels at multiples of ``step``. gains : float32, (height, width).
    """
    columns = gains.shape[1]
    across = np.empty(columns, np.float32)
    down = np.empty(columns, np.float32)
    positions, places = np.empty(columns, np.float32), np.empty(columns, np.int32)
    ramp = np.empty(step, np.float32)
    count_up(ramp)
    steps = np.float32(table.shape[0] - 1)
    places_x = np.empty(knots_x.shape[1], np.float64)
    places_y = np.empty(knots_x.shape[1], np.float64)
    for row in range(first, last):
        upper = row // step
        part = (row - upper * step) / step
        for i in range(knots_x.shape[1]):
            places_x[i] = knots_x[upper, i] * (1 - part) + knots_x[upper + 1, i] * part
            places_y[i] = knots_y[upper, i] * (1 - part) + knots_y[upper + 1, i] * part
        _spread_out(places_x, step, ramp, across)
        _spread_out(places_y, step, ramp, down)
        for column in range(columns):
            x = np.uintp(column)
            positions[x] = (across[x] * across[x] + down[x] * down[x]) * steps
        look_up(table, positions, places, gains[row])
