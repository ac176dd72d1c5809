"""Detail in square-root luminance, and adding it."""

from __future__ import annotations

import numpy as np

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.light import luminance

_ZERO, _ONE = np.float32(0), np.float32(1)
# Detail beyond this (square-root light) is an edge: what is added to it levels off, so that no bright rim
# grows.
_EDGE = np.float32(0.12)
_DARK = np.float32(0.004)
_STEEPEST = np.float32(3)


@kernel
def luminance_roots(planes, out, first, last):  # type: ignore[no-untyped-def]
    """Square roots of luminance; 0 where there is no light."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            light = luminance(planes[0, row, column], planes[1, row, column], planes[2, row, column])
            out[row, column] = np.sqrt(max(light, _ZERO))


@kernel
def add_detail(planes, roots, smooth, amount, floor, first, last):  # type: ignore[no-untyped-def]
    """Multiply colour so that its luminance gains ``amount`` times its detail above ``floor``, in place."""
    for row in range(first, last):
        for column in range(planes.shape[2]):
            root = roots[row, column]
            difference = root - smooth[row, column]
            size = max(abs(difference) - floor, _ZERO)
            added = amount * size / (_ONE + size / _EDGE)
            # Dark rims beside bright stars show more than bright ones.
            added = added if difference > _ZERO else -added * np.float32(0.6)
            base = max(root, _DARK)
            ratio = min(max((base + added) / base, np.float32(0.25)), _STEEPEST)
            gain = ratio * ratio
            for channel in range(3):
                planes[channel, row, column] *= gain
