"""Noise taken from overlapping blocks of 8 × 8 pixels by their cosine transforms (after Yaroslavsky).

What a block holds in few strong coefficients is the scene; what is spread evenly over all of them is noise.
Blocks begin at every second row and column; a pixel is the mean of what the 16 blocks around it say, of which
those of fewer coefficients count for more.
"""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined, kernel
from archive.engine.kernels.neighbourhood import grow_row
from archive.engine.kernels.numeric import clear

SIDE = 8
_STEP = 2
_BEFORE = SIDE - _STEP
# Blocks of one row done at once, so that their coefficients stay near a core. Even and odd columns lie apart,
# since blocks begin at every second; a line is the even ones and then the odd ones that a run touches. Its
# lengths are constants, so that the compiler sees which lines are apart.
_RUN = 64
_TOUCHED = _RUN + SIDE // _STEP - 1
_PART = _RUN + 8
_LINE = 2 * _PART
_SHIFTED = 4
_ZERO, _ONE = np.float32(0), np.float32(1)
# Coefficients set in from √0.75 to √1.25 of their threshold on, so that nothing depends on a hair.
_STEEP, _START = np.float32(2), np.float32(1.5)
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
def _down(lines, out):  # type: ignore[no-untyped-def]
    """Every column's transform. lines, out : eight lines of ``_LINE``."""
    for column in range(_LINE):
        x = np.uintp(column)
        a, b, c, d, e, f, g, h = _eight(lines, x, _LINE)
        _put(_forward(a, b, c, d, e, f, g, h), out, x, _LINE)


@inlined
def _up(lines, out):  # type: ignore[no-untyped-def]
    """Columns from their transforms."""
    for column in range(_LINE):
        x = np.uintp(column)
        a, b, c, d, e, f, g, h = _eight(lines, x, _LINE)
        _put(_backward(a, b, c, d, e, f, g, h), out, x, _LINE)


@inlined
def _across(line, out):  # type: ignore[no-untyped-def]
    """Transforms of the blocks of a run. line : one line. out : eight lines of ``_RUN``."""
    for number in range(_RUN):
        x = np.uintp(number)
        values = _forward(
            line[x], line[x + np.uintp(_PART)],
            line[x + np.uintp(1)], line[x + np.uintp(_PART + 1)],
            line[x + np.uintp(2)], line[x + np.uintp(_PART + 2)],
            line[x + np.uintp(3)], line[x + np.uintp(_PART + 3)],
        )  # fmt: skip
        _put(values, out, x, _RUN)


@inlined
def _thinned(values, inverse, count):  # type: ignore[no-untyped-def]
    """Take noise from the coefficients of one kind, in place, and count what stays."""
    for number in range(_RUN):
        x = np.uintp(number)
        value = values[x]
        kept = min(max(_STEEP * (value * value * inverse) - _START, _ZERO), _ONE)
        values[x] = kept * value
        count[x] += kept


@inlined
def _weighted_back(coefficients, weights, samples):  # type: ignore[no-untyped-def]
    """Weighted rows of the blocks of a run, eight lines of ``_PART``, from ``_SHIFTED`` on."""
    for number in range(_RUN):
        x = np.uintp(number)
        w = weights[x]
        a, b, c, d, e, f, g, h = _eight(coefficients, x, _RUN)
        values = _backward(w * a, w * b, w * c, w * d, w * e, w * f, w * g, w * h)
        _put(values, samples, x + np.uintp(_SHIFTED), _PART)


@inlined
def _overlaid(samples, line):  # type: ignore[no-untyped-def]
    """Sums of what the blocks of a run say of each column; beyond its ends ``samples`` are 0."""
    for column in range(_TOUCHED):
        x = np.uintp(column)
        line[x] = (samples[x + np.uintp(4)] + samples[x + np.uintp(2 * _PART + 3)]) + (
            samples[x + np.uintp(4 * _PART + 2)] + samples[x + np.uintp(6 * _PART + 1)]
        )
        line[x + np.uintp(_PART)] = (
            samples[x + np.uintp(_PART + 4)] + samples[x + np.uintp(3 * _PART + 3)]
        ) + (samples[x + np.uintp(5 * _PART + 2)] + samples[x + np.uintp(7 * _PART + 1)])


@inlined
def _detail(plane, calm, row, spare, other, grown, evens, odds):  # type: ignore[no-untyped-def]
    """What a row has beyond its calm version, even and odd columns apart, from the fourth place on.

    Beyond the rim the outermost are repeated.
    """
    place = min(max(row, 0), plane.shape[0] - 1)
    grow_row(calm, place, 1, spare, other, grown)
    source = plane[place]
    width = plane.shape[1]
    whole = width // 2
    before = _BEFORE // _STEP
    left, right = evens[before:], odds[before:]
    for column in range(whole):
        x, y = np.uintp(2 * column), np.uintp(2 * column + 1)
        left[np.uintp(column)] = source[x] - grown[x]
        right[np.uintp(column)] = source[y] - grown[y]
    for k in range(before):
        evens[k] = odds[k] = source[0] - grown[0]
    outermost = source[width - 1] - grown[width - 1]
    for k in range(whole, right.shape[0]):
        left[k] = right[k] = outermost


@inlined
def _added(line, out, count):  # type: ignore[no-untyped-def]
    for column in range(count):
        out[np.uintp(column)] += line[np.uintp(column)]


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
    runs = ((width + 1) // 2 + _BEFORE // _STEP + _RUN - 1) // _RUN
    # Rings of rows. Rows that a block row has made are whole once it is two further.
    details = np.empty((SIDE, 2, runs * _RUN + SIDE), np.float32)
    made, weights = np.zeros_like(details), np.zeros((SIDE // _STEP, details.shape[2]), np.float32)
    lines, turned = np.zeros(SIDE * _LINE, np.float32), np.zeros(SIDE * _LINE, np.float32)
    coefficients, samples = np.empty(SIDE * SIDE * _RUN, np.float32), np.zeros(SIDE * _PART, np.float32)
    count = np.empty(_RUN, np.float32)
    begin = first - first % _STEP - _BEFORE
    for row in range(begin, begin + _BEFORE):
        here = details[row % SIDE]
        _detail(plane, calm, row, spare, other, grown, here[0], here[1])
    for top in range(begin, last, _STEP):
        for row in range(top + _BEFORE, top + SIDE):
            here, fresh = details[row % SIDE], made[row % SIDE]
            _detail(plane, calm, row, spare, other, grown, here[0], here[1])
            clear(fresh[0], fresh.shape[1])
            clear(fresh[1], fresh.shape[1])
        clear(weights[(top + _BEFORE) // _STEP % (SIDE // _STEP)], weights.shape[1])
        for run in range(runs):
            start = run * _RUN
            for k in range(SIDE):
                for part in range(2):
                    source = details[(top + k) % SIDE, part, start:]
                    target = lines[k * _LINE + part * _PART :]
                    for column in range(_TOUCHED):
                        target[np.uintp(column)] = source[np.uintp(column)]
            _down(lines, turned)
            for number in range(_RUN):
                count[np.uintp(number)] = _ONE
            for u in range(SIDE):
                some = coefficients[u * SIDE * _RUN :]
                _across(turned[u * _LINE :], some)
                for v in range(SIDE):
                    _thinned(some[v * _RUN :], inverses[u * SIDE + v], count)
            for number in range(_RUN):
                count[np.uintp(number)] = _ONE / count[np.uintp(number)]
            for u in range(SIDE):
                _weighted_back(coefficients[u * SIDE * _RUN :], count, samples)
                _overlaid(samples, turned[u * _LINE :])
            _up(turned, lines)
            for k in range(SIDE):
                for part in range(2):
                    target = made[(top + k) % SIDE, part, start:]
                    _added(lines[k * _LINE + part * _PART :], target, _TOUCHED)
            for k in range(SIDE // _STEP):
                for shift in range(SIDE // _STEP):
                    target = weights[(top // _STEP + k) % (SIDE // _STEP), start + shift :]
                    _added(count, target, _RUN)
        shares = weights[top // _STEP % (SIDE // _STEP), _BEFORE // _STEP :]
        for row in range(max(top, first), min(top + _STEP, last)):
            grow_row(calm, row, 1, spare, other, grown)
            target = out[row]
            evens = made[row % SIDE, 0, _BEFORE // _STEP :]
            odds = made[row % SIDE, 1, _BEFORE // _STEP :]
            for column in range(width // 2):
                x, y, z = np.uintp(2 * column), np.uintp(2 * column + 1), np.uintp(column)
                share = _ONE / shares[z]
                target[x] = grown[x] + evens[z] * share
                target[y] = grown[y] + odds[z] * share
            if width % 2:
                target[width - 1] = grown[width - 1] + evens[width // 2] * (_ONE / shares[width // 2])


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
