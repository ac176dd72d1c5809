"""Smooth random fields: gradient noise over three coordinates, decided by integers alone."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray



@nb.njit(nogil=True, error_model="numpy")
def _corner(i: int, j: int, k: int, x: float, y: float, z: float) -> float:
    word = (i * 374761393 + j * 668265263 + k * 1274126177) & 0xFFFFFFFF
    word = ((word ^ (word >> 15)) * 2246822519) & 0xFFFFFFFF
    word = ((word ^ (word >> 13)) * 3266489917) & 0xFFFFFFFF
    word = (word ^ (word >> 16)) & 15
    first = x if word < 8 else y
    second = y if word < 4 else (x if word in (12, 14) else z)
    return (first if word & 1 else -first) + (second if word & 2 else -second)


@nb.njit(nogil=True, error_model="numpy")
def noise(x: float, y: float, z: float) -> float:
    """Gradient noise of unit wavelength, about -1 to 1, twice differentiable."""
    i, j, k = int(np.floor(x)), int(np.floor(y)), int(np.floor(z))
    x -= i
    y -= j
    z -= k
    a = x * x * x * (x * (x * 6 - 15) + 10)
    b = y * y * y * (y * (y * 6 - 15) + 10)
    c = z * z * z * (z * (z * 6 - 15) + 10)
    total = 0.0
    for corner in range(8):
        di, dj, dk = corner & 1, (corner >> 1) & 1, corner >> 2
        weight = (a if di else 1 - a) * (b if dj else 1 - b) * (c if dk else 1 - c)
        total += weight * _corner(i + di, j + dj, k + dk, x - di, y - dj, z - dk)
    return total


@nb.njit(nogil=True, error_model="numpy")
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
    """Noise summed over octaves at every point (x, y), float32 in the shape of ``x``; ``z`` picks the field."""
    x, y = np.broadcast_arrays(np.asarray(x, np.float64), np.asarray(y, np.float64))
    out = np.empty(x.size, np.float32)
    _fractal(x.ravel(), y.ravel(), float(z), octaves, float(gain), out)
    return out.reshape(x.shape)
