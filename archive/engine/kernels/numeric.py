"""Logarithms, smooth steps and tables in float32 that give the same bits on every processor."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import inlined

_ONE, _HALF, _TWO, _THREE = np.float32(1), np.float32(0.5), np.float32(2), np.float32(3)
_SQRT2 = np.float32(1.41421356)
_TWO_OVER_LN2 = np.float32(2.88539008)
_THIRD, _FIFTH, _SEVENTH = np.float32(1 / 3), np.float32(1 / 5), np.float32(1 / 7)
_SMALLEST = np.float32(1e-30)
_MANTISSA, _EXPONENT_ONE = np.int32(0x7FFFFF), np.int32(0x3F800000)
_SHIFT, _BIAS = np.int32(23), np.int32(127)


@inlined
def log2(value):  # type: ignore[no-untyped-def]
    """Base-2 logarithm of a positive float32, to about 1e-6."""
    bits = np.float32(max(value, _SMALLEST)).view(np.int32)
    exponent = np.float32(np.int32(bits >> _SHIFT) - _BIAS)
    mantissa = np.int32((bits & _MANTISSA) | _EXPONENT_ONE).view(np.float32)
    if mantissa > _SQRT2:
        mantissa = mantissa * _HALF
        exponent = exponent + _ONE
    t = (mantissa - _ONE) / (mantissa + _ONE)
    t2 = t * t
    series = _ONE + t2 * (_THIRD + t2 * (_FIFTH + t2 * _SEVENTH))
    return exponent + _TWO_OVER_LN2 * t * series


@inlined
def smoothstep(value, low, high):  # type: ignore[no-untyped-def]
    """0 below ``low``, 1 above ``high``, smooth in between."""
    t = min(max((value - low) / (high - low), np.float32(0)), _ONE)
    return t * t * (_THREE - _TWO * t)


@inlined
def table_at(table, position):  # type: ignore[no-untyped-def]
    """Linear interpolation in a float32 table at a position counted in its steps, held at the ends."""
    last = np.float32(table.shape[0] - 1)
    held = min(max(position, np.float32(0)), last)
    index = min(np.int32(held), np.int32(table.shape[0] - 2))
    part = held - np.float32(index)
    low = table[np.uintp(index)]
    return low + part * (table[np.uintp(index + 1)] - low)
