"""Noise taken from overlapping blocks of 8 × 8 pixels by their cosine transforms (after Yaroslavsky).

What a block holds in few strong coefficients is the scene; what is spread evenly over all of them is noise.
Blocks begin at every third row and every fourth column, one column further from row to row: so slanted, they
see all places of a mosaic's pattern alike. A pixel is the mean of what the five or six blocks around it say:
those of fewer coefficients count for more, and each the more the nearer its middle is.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import grow_row
from archive.engine.kernels.numeric import clear

SIDE = 8
_DOWN, _ALONG = 3, 4
# Columns four apart lie together, as four parts of a row, since blocks begin four apart. So many are worked
# on at once that their coefficients stay near a core; constants let the compiler see which lines are apart.
# The last of them begins no block, which would need the column after it.
_LANES = 64
_RUN = _LANES - 1
# From part to part of eight lines, and from line to line.
_PART = _LANES + 16
_LINE = _ALONG * _PART
# Blocks begin up to so many columns before a picture does.
_LEAD = SIDE
_BEFORE = _LEAD // _ALONG
# Lanes of samples begin here: what lies before the first is 0.
_FIRST = 4
_ZERO, _ONE = np.float32(0), np.float32(1)
_PALER = np.float32(0.75)
# Coefficients set in from √0.75 to √1.25 of their threshold on, so that nothing depends on a hair.
_STEEP, _START = np.float32(2), np.float32(1.5)
# Kaiser's window of parameter 1.5.
_W0, _W1, _W2, _W3 = (
    np.float32(0.6072666),
    np.float32(0.7864574),
    np.float32(0.9198049),
    np.float32(0.9908995),
)
_WINDOW = (_W0, _W1, _W2, _W3, _W3, _W2, _W1, _W0)
# 1 / √8, and cos(k π / 16) / 2.
_K0 = np.float32(0.35355338)
_K1, _K2, _K3 = np.float32(0.49039263), np.float32(0.46193978), np.float32(0.41573480)
_K5, _K6, _K7 = np.float32(0.27778512), np.float32(0.19134171), np.float32(0.09754516)


@inlined
def _forward(a, b, c, d, e, f, g, h):  # type: ignore[no-untyped-def]
    """Orthonormal cosine transform (type II) of eight values."""
    s0, s1, s2, s3 = a + h, b + g, c + f, d + e
    d0, d1, d2, d3 = a - h, b - g, c - f, d - e
    t0, t1, t2, t3 = s0 + s3, s1 + s2, s0 - s3, s1 - s2
    return (
        _K0 * (t0 + t1),
        (_K1 * d0 + _K3 * d1) + (_K5 * d2 + _K7 * d3),
        _K2 * t2 + _K6 * t3,
        (_K3 * d0 - _K7 * d1) - (_K1 * d2 + _K5 * d3),
        _K0 * (t0 - t1),
        (_K5 * d0 - _K1 * d1) + (_K7 * d2 + _K3 * d3),
        _K6 * t2 - _K2 * t3,
        (_K7 * d0 - _K5 * d1) + (_K3 * d2 - _K1 * d3),
    )


@inlined
def _backward(a, b, c, d, e, f, g, h):  # type: ignore[no-untyped-def]
    """The eight values of a cosine transform."""
    u, v = _K0 * (a + e), _K0 * (a - e)
    p, q = _K2 * c + _K6 * g, _K6 * c - _K2 * g
    s0, s1, s2, s3 = u + p, v + q, v - q, u - p
    d0 = (_K1 * b + _K3 * d) + (_K5 * f + _K7 * h)
    d1 = (_K3 * b - _K7 * d) - (_K1 * f + _K5 * h)
    d2 = (_K5 * b - _K1 * d) + (_K7 * f + _K3 * h)
    d3 = (_K7 * b - _K5 * d) + (_K3 * f - _K1 * h)
    return s0 + d0, s1 + d1, s2 + d2, s3 + d3, s3 - d3, s2 - d2, s1 - d1, s0 - d0


@inlined
def _eight(source, x, apart):  # type: ignore[no-untyped-def]
    """The values of eight lines that begin ``apart``."""
    return (
        source[x], source[x + np.uintp(apart)], source[x + np.uintp(2 * apart)],
        source[x + np.uintp(3 * apart)], source[x + np.uintp(4 * apart)], source[x + np.uintp(5 * apart)],
        source[x + np.uintp(6 * apart)], source[x + np.uintp(7 * apart)],
    )  # fmt: skip


@inlined
def _put(values, out, x, apart):  # type: ignore[no-untyped-def]
    """The reverse of ``_eight``."""
    a, b, c, d, e, f, g, h = values
    out[x], out[x + np.uintp(apart)], out[x + np.uintp(2 * apart)] = a, b, c
    out[x + np.uintp(3 * apart)], out[x + np.uintp(4 * apart)], out[x + np.uintp(5 * apart)] = d, e, f
    out[x + np.uintp(6 * apart)], out[x + np.uintp(7 * apart)] = g, h


@inlined
def _down(ring, starts, shift, lines, to):  # type: ignore[no-untyped-def]
    """Transforms of eight rows of a ring, down every column of a part. starts : where the rows begin."""
    s0, s1 = np.uintp(starts[0] + shift), np.uintp(starts[1] + shift)
    s2, s3 = np.uintp(starts[2] + shift), np.uintp(starts[3] + shift)
    s4, s5 = np.uintp(starts[4] + shift), np.uintp(starts[5] + shift)
    s6, s7 = np.uintp(starts[6] + shift), np.uintp(starts[7] + shift)
    for column in range(_LANES):
        x = np.uintp(column)
        values = _forward(
            ring[s0 + x], ring[s1 + x], ring[s2 + x], ring[s3 + x],
            ring[s4 + x], ring[s5 + x], ring[s6 + x], ring[s7 + x],
        )  # fmt: skip
        _put(values, lines, np.uintp(to) + x, _LINE)


@inlined
def _up(lines, out):  # type: ignore[no-untyped-def]
    """Columns from their transforms. lines, out : eight lines."""
    for column in range(_LINE):
        x = np.uintp(column)
        a, b, c, d, e, f, g, h = _eight(lines, x, _LINE)
        _put(_backward(a, b, c, d, e, f, g, h), out, x, _LINE)


@inlined
def _kept(value, inverse):  # type: ignore[no-untyped-def]
    """The share of a coefficient that is no noise."""
    return min(max(_STEEP * (value * value * inverse) - _START, _ZERO), _ONE)


@inlined
def _across(lines, u, inverses, coefficients, count):  # type: ignore[no-untyped-def]
    """Coefficients of a run's blocks from line ``u``, without their noise; what stays is counted.

    coefficients : eight times eight rows of lanes.
    """
    at, to = np.uintp(u * _LINE), np.uintp(u * SIDE * _LANES)
    kinds = inverses[u * SIDE :]
    i0, i1, i2, i3, i4, i5, i6, i7 = _eight(kinds, np.uintp(0), 1)
    for number in range(_LANES):
        lane = np.uintp(number)
        x = at + lane
        a, b, c, d, e, f, g, h = _forward(
            lines[x], lines[x + np.uintp(_PART)],
            lines[x + np.uintp(2 * _PART)], lines[x + np.uintp(3 * _PART)],
            lines[x + np.uintp(1)], lines[x + np.uintp(_PART + 1)],
            lines[x + np.uintp(2 * _PART + 1)], lines[x + np.uintp(3 * _PART + 1)],
        )  # fmt: skip
        ka, kb, kc, kd = _kept(a, i0), _kept(b, i1), _kept(c, i2), _kept(d, i3)
        ke, kf, kg, kh = _kept(e, i4), _kept(f, i5), _kept(g, i6), _kept(h, i7)
        values = ka * a, kb * b, kc * c, kd * d, ke * e, kf * f, kg * g, kh * h
        _put(values, coefficients, to + lane, _LANES)
        count[lane] += ((ka + kb) + (kc + kd)) + ((ke + kf) + (kg + kh))


@inlined
def _windows(weight):  # type: ignore[no-untyped-def]
    """Weights of a block's eight columns."""
    outer, next_outer, next_inner, inner = weight * _W0, weight * _W1, weight * _W2, weight * _W3
    return outer, next_outer, next_inner, inner, inner, next_inner, next_outer, outer


@inlined
def _weighted_back(coefficients, u, count, samples):  # type: ignore[no-untyped-def]
    """Line ``u`` of the blocks of a run, weighted. samples : eight rows of ``_PART``."""
    at = np.uintp(u * SIDE * _LANES)
    for number in range(_LANES):
        lane = np.uintp(number)
        a, b, c, d, e, f, g, h = _eight(coefficients, at + lane, _LANES)
        a, b, c, d, e, f, g, h = _backward(a, b, c, d, e, f, g, h)
        wa, wb, wc, wd, we, wf, wg, wh = _windows(count[lane])
        values = wa * a, wb * b, wc * c, wd * d, we * e, wf * f, wg * g, wh * h
        _put(values, samples, lane + np.uintp(_FIRST), _PART)


@inlined
def _weights(count, samples):  # type: ignore[no-untyped-def]
    """What the columns of a run's blocks weigh, and ``count`` turned into weights of blocks."""
    for number in range(_LANES):
        lane = np.uintp(number)
        count[lane] = _ONE / count[lane]
    count[_RUN] = _ZERO
    for number in range(_LANES):
        lane = np.uintp(number)
        _put(_windows(count[lane]), samples, lane + np.uintp(_FIRST), _PART)


@inlined
def _overlaid(samples, lines, u):  # type: ignore[no-untyped-def]
    """Line ``u`` from sums of what the blocks of a run say of each column."""
    at = np.uintp(u * _LINE)
    for part in range(_ALONG):
        own = np.uintp(part * _PART + _FIRST)
        before = np.uintp((part + _ALONG) * _PART + _FIRST - 1)
        to = at + np.uintp(part * _PART)
        for column in range(_LANES):
            x = np.uintp(column)
            lines[to + x] = samples[own + x] + samples[before + x]


@inlined
def _added(lines, at, share, ring, to):  # type: ignore[no-untyped-def]
    x, y = np.uintp(at), np.uintp(to)
    for column in range(_LANES):
        ring[y + np.uintp(column)] += share * lines[x + np.uintp(column)]


@inlined
def _mirrored(place, count):  # type: ignore[no-untyped-def]
    """The place within ``count`` whose mirror image lies there."""
    place = place % (2 * count)
    return place if place < count else 2 * count - 1 - place


@inlined
def _detail(plane, calm, row, spare, other, grown, ring, at, long):  # type: ignore[no-untyped-def]
    """What a row has beyond its calm version, in four parts of ``long`` from ``at`` on.

    Beyond the rim is its mirror image, paler: in a whole one the noise of every sample would count twice.
    """
    height, width = plane.shape
    place = _mirrored(row, height)
    grow_row(calm, place, 1, spare, other, grown)
    source = plane[place]
    whole = width // _ALONG
    for column in range(-_LEAD, 0):
        x = _mirrored(column, width)
        ring[at + column % _ALONG * long + _BEFORE + column // _ALONG] = _PALER * (source[x] - grown[x])
    for column in range(width, (long - _BEFORE) * _ALONG):
        x = _mirrored(min(column, width + SIDE), width)
        ring[at + column % _ALONG * long + _BEFORE + column // _ALONG] = _PALER * (source[x] - grown[x])
    to = np.uintp(at + _BEFORE)
    for number in range(whole):
        x, y = np.uintp(_ALONG * number), to + np.uintp(number)
        ring[y] = source[x] - grown[x]
        ring[y + np.uintp(long)] = source[x + np.uintp(1)] - grown[x + np.uintp(1)]
        ring[y + np.uintp(2 * long)] = source[x + np.uintp(2)] - grown[x + np.uintp(2)]
        ring[y + np.uintp(3 * long)] = source[x + np.uintp(3)] - grown[x + np.uintp(3)]
    for column in range(whole * _ALONG, width):
        ring[at + column % _ALONG * long + _BEFORE + whole] = source[column] - grown[column]
    if row != place:
        for k in range(at, at + _ALONG * long):
            ring[np.uintp(k)] *= _PALER


@inlined
def _settled(made, weights, at, long, grown, target):  # type: ignore[no-untyped-def]
    """A row of the calmed plane: its calm version, and the mean of what blocks say beyond that."""
    width = target.shape[0]
    whole = width // _ALONG
    for number in range(whole):
        x, k = np.uintp(_ALONG * number), np.uintp(at + _BEFORE + number)
        target[x] = grown[x] + made[k] / weights[k]
        x, k = x + np.uintp(1), k + np.uintp(long)
        target[x] = grown[x] + made[k] / weights[k]
        x, k = x + np.uintp(1), k + np.uintp(long)
        target[x] = grown[x] + made[k] / weights[k]
        x, k = x + np.uintp(1), k + np.uintp(long)
        target[x] = grown[x] + made[k] / weights[k]
    for column in range(whole * _ALONG, width):
        k = np.uintp(at + column % _ALONG * long + _BEFORE + whole)
        x = np.uintp(column)
        target[x] = grown[x] + made[k] / weights[k]


@kernel
def shrink(plane, calm, inverses, out, first, last):  # type: ignore[no-untyped-def]
    """A plane from its calm half-size version and what it has beyond that, where it is no noise.

    plane, out : float32, (height, width). calm : float32, half the size, rounded up. inverses : float32, 64,
    1 / squared threshold of every coefficient, those across first.
    """
    width = plane.shape[1]
    length = 2 * calm.shape[1] + 2
    grown, spare = np.empty(length, np.float32), np.empty(length, np.float32)
    other = np.empty(length, np.float32)
    runs = ((width + _LEAD - 1) // _ALONG + _RUN) // _RUN
    long = runs * _RUN + SIDE
    # Rings of rows. Rows that a block row has made are whole once it is three further.
    details = np.empty(SIDE * _ALONG * long, np.float32)
    made, weights = np.zeros_like(details), np.zeros_like(details)
    starts = np.empty(SIDE, np.int64)
    lines, turned = np.zeros(SIDE * _LINE, np.float32), np.zeros(SIDE * _LINE, np.float32)
    coefficients, samples = np.empty(SIDE * SIDE * _LANES, np.float32), np.zeros(SIDE * _PART, np.float32)
    count, overlap = np.empty(_LANES, np.float32), np.empty(_LINE, np.float32)
    begin = first - first % _DOWN - 2 * _DOWN
    for row in range(begin, begin + SIDE - _DOWN):
        at = row % SIDE * _ALONG * long
        _detail(plane, calm, row, spare, other, grown, details, at, long)
    for top in range(begin, last, _DOWN):
        for row in range(top + SIDE - _DOWN, top + SIDE):
            at = row % SIDE * _ALONG * long
            _detail(plane, calm, row, spare, other, grown, details, at, long)
            clear(made[at:], _ALONG * long)
            clear(weights[at:], _ALONG * long)
        for k in range(SIDE):
            starts[k] = (top + k) % SIDE * _ALONG * long
        slant = top // _DOWN % _ALONG
        for run in range(runs):
            for part in range(_ALONG):
                place = slant + part
                shift = place % _ALONG * long + run * _RUN + place // _ALONG
                _down(details, starts, shift, turned, part * _PART)
            for number in range(_LANES):
                count[np.uintp(number)] = _ONE
            for u in range(SIDE):
                _across(turned, u, inverses, coefficients, count)
            _weights(count, samples)
            _overlaid(samples, overlap, 0)
            for u in range(SIDE):
                _weighted_back(coefficients, u, count, samples)
                _overlaid(samples, turned, u)
            _up(turned, lines)
            for k in range(SIDE):
                for part in range(_ALONG):
                    place = slant + part
                    to = starts[k] + place % _ALONG * long + run * _RUN + place // _ALONG
                    _added(lines, k * _LINE + part * _PART, _WINDOW[k], made, to)
                    _added(overlap, part * _PART, _WINDOW[k], weights, to)
        for row in range(max(top, first), min(top + _DOWN, last)):
            grow_row(calm, row, 1, spare, other, grown)
            _settled(made, weights, row % SIDE * _ALONG * long, long, grown, out[row])


@kernel
def sizes(plane, calm, stride, out, first, last):  # type: ignore[no-untyped-def]
    """Sizes of the coefficients of blocks side by side, in rows of blocks ``stride`` pixels apart.

    out : float32, (64, rows of blocks, blocks across), coefficients across first.
    """
    length = 2 * calm.shape[1] + 2
    grown, spare = np.empty(length, np.float32), np.empty(length, np.float32)
    other = np.empty(length, np.float32)
    block = np.empty(SIDE * SIDE * out.shape[2], np.float32)
    apart = SIDE * out.shape[2]
    for place in range(first, last):
        for k in range(SIDE):
            grow_row(calm, place * stride + k, 1, spare, other, grown)
            source, target = plane[place * stride + k], block[k * apart :]
            for column in range(apart):
                target[np.uintp(column)] = source[np.uintp(column)] - grown[np.uintp(column)]
        for column in range(apart):
            x = np.uintp(column)
            a, b, c, d, e, f, g, h = _eight(block, x, apart)
            _put(_forward(a, b, c, d, e, f, g, h), block, x, apart)
        for u in range(SIDE):
            line = block[u * apart :]
            for number in range(out.shape[2]):
                a, b, c, d, e, f, g, h = _eight(line, np.uintp(SIDE * number), 1)
                _put(_forward(a, b, c, d, e, f, g, h), line, np.uintp(SIDE * number), 1)
                for v in range(SIDE):
                    out[u * SIDE + v, place, number] = abs(line[SIDE * number + v])
