"""Prints of what a picture shows, to find it again developed otherwise, smaller, or recompressed."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

_SIDE, _KEPT = 64, 16
_SRGB_LUMINANCE = (0.2126, 0.7152, 0.0722)
_FLOOR = 2.0**-10

Picture = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]


def luminance(picture: Picture) -> Floats:
    """Relative luminance, float64, (height, width), 0 to 1, of sRGB pixels (IEC 61966-2-1)."""
    table = _decoding()
    red, green, blue = (table[picture[:, :, channel]] for channel in range(3))
    return np.asarray(sum(w * p for w, p in zip(_SRGB_LUMINANCE, (red, green, blue), strict=True)))


@cache
def _decoding() -> Floats:
    code = np.arange(256) / 255
    return np.asarray(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))


def print_of(picture: Picture) -> str:
    """The print of a picture: 64 hex digits.

    Signs of the lowest 16 × 16 frequencies of the logarithm of luminance, each against their median: what
    changes brightness or contrast evenly leaves them.

    Parameters
    ----------
    picture : uint8, (height, width, 3), sRGB.
    """
    small = _averaged(luminance(picture))
    waves = _cosines()[:_KEPT] @ np.log2(np.maximum(small, _FLOOR)) @ _cosines()[:_KEPT].T
    values = waves.ravel()
    bits = values > np.median(values[1:])
    # The constant frequency is brightness alone.
    bits[0] = False
    return np.packbits(bits).tobytes().hex()


def distance(first: str, second: str) -> int:
    """In how many of 255 signs two prints differ; of unrelated pictures about half."""
    return (int(first, 16) ^ int(second, 16)).bit_count()


def _averaged(light: Floats) -> Floats:
    """The picture at 64 × 64 by area."""
    for axis in (0, 1):
        light = np.moveaxis(_shrunk(np.moveaxis(light, axis, 0)), 0, axis)
    return light


def _shrunk(rows: Floats) -> Floats:
    count = rows.shape[0]
    sums = np.concatenate([np.zeros((1, *rows.shape[1:])), np.cumsum(rows, axis=0)])
    edges = np.linspace(0, count, _SIDE + 1)
    whole = np.minimum(edges.astype(int), count - 1)
    at = sums[whole] + (edges - whole)[:, None] * (sums[whole + 1] - sums[whole])
    return np.asarray((at[1:] - at[:-1]) * (_SIDE / count))


@cache
def _cosines() -> Floats:
    """The DCT-II of 64 values, a frequency a row, orthonormal."""
    places = np.arange(_SIDE)
    waves = np.cos(np.pi * (places[None, :] + 0.5) * places[:, None] / _SIDE) * np.sqrt(2 / _SIDE)
    waves[0] /= np.sqrt(2)
    return np.asarray(waves)
