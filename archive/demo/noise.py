"""Smooth random fields: gradient noise over three coordinates, decided by integers alone."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.engine.kernels.compiled import kernel


def _shuffled() -> NDArray[np.int64]:
    """The numbers 0 to 255 in an order decided by a linear congruential generator, twice over."""
    order = list(range(256))
    state = 20260318
    for last in range(255, 0, -1):
        state = (state * 1664525 + 1013904223) % 2**32
        other = (state >> 8) % (last + 1)
        order[last], order[other] = order[other], order[last]
    return np.array(order + order, np.int64)


_ORDER = _shuffled()
_SLOPES = np.array(
    [(1, 1, 0), (-1, 1, 0), (1, -1, 0), (-1, -1, 0), (1, 0, 1), (-1, 0, 1), (1, 0, -1), (-1, 0, -1),
     (0, 1, 1), (0, -1, 1), (0, 1, -1), (0, -1, -1), (1, 1, 0), (-1, 1, 0), (0, -1, 1), (0, -1, -1)],
    np.float64,
)  # fmt: skip


@kernel
def _edge(place: int, x: float, y: float, z: float, c: float) -> Any:
    """Between the two corners of a cell that lie above each other."""
    low, high = _ORDER[place] & 15, _ORDER[place + 1] & 15
    first = _SLOPES[low, 0] * x + _SLOPES[low, 1] * y + _SLOPES[low, 2] * z
    second = _SLOPES[high, 0] * x + _SLOPES[high, 1] * y + _SLOPES[high, 2] * (z - 1)
    return first + c * (second - first)


@kernel
def noise(x: float, y: float, z: float) -> Any:
    """Gradient noise of unit wavelength, about -1 to 1, twice differentiable (after Perlin 2002)."""
    i, j, k = np.floor(x), np.floor(y), np.floor(z)
    x, y, z = x - i, y - j, z - k
    a = x * x * x * (x * (x * 6 - 15) + 10)
    b = y * y * y * (y * (y * 6 - 15) + 10)
    c = z * z * z * (z * (z * 6 - 15) + 10)
    left, row, layer = int(i) & 255, int(j) & 255, int(k) & 255
    here, there = _ORDER[left] + row, _ORDER[left + 1] + row
    near = _edge(_ORDER[here] + layer, x, y, z, c)
    near += a * (_edge(_ORDER[there] + layer, x - 1, y, z, c) - near)
    far = _edge(_ORDER[here + 1] + layer, x, y - 1, z, c)
    far += a * (_edge(_ORDER[there + 1] + layer, x - 1, y - 1, z, c) - far)
    return near + b * (far - near)


@kernel
def _fractal(x: Any, y: Any, z: float, octaves: int, gain: float, out: Any) -> None:
    for index in range(x.size):
        amplitude, scale, total = 1.0, 1.0, 0.0
        for octave in range(octaves):
            total += amplitude * noise(x[index] * scale, y[index] * scale, z + 17.3 * octave)
            amplitude *= gain
            scale *= 2.03
        out[index] = total


def fractal(
    x: NDArray[Any], y: NDArray[Any], z: float = 0.0, *, octaves: int = 5, gain: float = 0.5
) -> NDArray[np.float32]:
    """Noise summed over octaves at every point (x, y), float32; ``z`` picks the field."""
    x, y = np.broadcast_arrays(np.asarray(x, np.float64), np.asarray(y, np.float64))
    out = np.empty(x.size, np.float32)
    _fractal(x.ravel(), y.ravel(), float(z), octaves, float(gain), out)
    return out.reshape(x.shape)
