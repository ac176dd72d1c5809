"""Logarithms, smooth steps and tables in float32 that give the same bits on every processor."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined

_ONE, _TWO, _THREE = np.float32(1), np.float32(2), np.float32(3)
_TWO_OVER_LN2 = np.float32(2.88539008)
_THIRD, _FIFTH, _SEVENTH = np.float32(1 / 3), np.float32(1 / 5), np.float32(1 / 7)
_SMALLEST = np.float32(1e-30)
_ROOT_OF_HALF, _SHIFT = np.int32(0x3F3504F3), np.int32(23)
# Adding 1.5 · 2^23 leaves a float's nearest whole number in the last bits of the sum.
_WHOLE = np.float32(12582912)
_FARTHEST = np.float32(60)
# ln(2)^k / k!, the series of a power of two.
_E1, _E2, _E3 = np.float32(0.69314718), np.float32(0.24022651), np.float32(0.05550411)
_E4, _E5, _E6 = np.float32(0.00961813), np.float32(0.00133336), np.float32(0.00015404)


@inlined
def clear(line, count):  # type: ignore[no-untyped-def]
    """Set the first ``count`` values to 0. Assigning to a slice does so too, and takes longer to compile."""
    for column in range(count):
        line[np.uintp(column)] = np.float32(0)


@inlined
def count_up(line):  # type: ignore[no-untyped-def]
    """Set values to 0, 1, 2, …"""
    for column in range(line.shape[0]):
        line[np.uintp(column)] = np.float32(column)


@inlined
def log2(value):  # type: ignore[no-untyped-def]
    """Base-2 logarithm of a positive float32, to about 1e-6."""
    bits = np.float32(max(value, _SMALLEST)).view(np.int32)
    # The mantissa is taken from √½ to √2 around 1, without a choice.
    exponent = np.int32(np.int32(bits - _ROOT_OF_HALF) >> _SHIFT)
    mantissa = np.int32(bits - np.int32(exponent << _SHIFT)).view(np.float32)
    t = (mantissa - _ONE) / (mantissa + _ONE)
    t2 = t * t
    series = _ONE + t2 * (_THIRD + t2 * (_FIFTH + t2 * _SEVENTH))
    return np.float32(exponent) + _TWO_OVER_LN2 * t * series


@inlined
def smoothstep(value, low, high):  # type: ignore[no-untyped-def]
    """0 below ``low``, 1 above ``high``, smooth in between."""
    t = min(max((value - low) / (high - low), np.float32(0)), _ONE)
    return t * t * (_THREE - _TWO * t)


@inlined
def look_up(table, positions, places, out):  # type: ignore[no-untyped-def]
    """Linear interpolation in a float32 table at positions counted in its steps, held at the ends.

    positions : float32, used up. places : int32, as long; two short loops run faster than one.
    """
    last = np.float32(table.shape[0] - 1)
    highest = np.int32(table.shape[0] - 2)
    for column in range(positions.shape[0]):
        x = np.uintp(column)
        held = min(max(positions[x], np.float32(0)), last)
        # What is no number would be read from anywhere.
        place = min(max(np.int32(held), np.int32(0)), highest)
        places[x] = place
        positions[x] = held - np.float32(place)
    for column in range(positions.shape[0]):
        x = np.uintp(column)
        entry = np.uintp(places[x])
        low = table[entry]
        out[x] = low + positions[x] * (table[entry + np.uintp(1)] - low)


@inlined
def exp2(value):  # type: ignore[no-untyped-def]
    """2 to the power of a float32 between −60 and 60, to about 2e-7 of itself."""
    held = min(max(value, -_FARTHEST), _FARTHEST)
    sum_with_whole = np.float32(held + _WHOLE)
    part = held - (sum_with_whole - _WHOLE)
    series = _E3 + part * (_E4 + part * (_E5 + part * _E6))
    series = np.float32(_ONE + part * (_E1 + part * (_E2 + part * series)))
    exponent = np.int32(sum_with_whole.view(np.int32) << _SHIFT)
    return np.int32(series.view(np.int32) + exponent).view(np.float32)
