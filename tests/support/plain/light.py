"""Single pixels: luminance, chroma, colours made to fit, and numbers for a display."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from support.plain.planes import Floats

# The second row of linear sRGB to XYZ (IEC 61966-2-1).
LUMINANCE = np.array([0.21263901, 0.71516868, 0.07219232])
_WORD = 2**32 - 1


def luminance(planes: npt.NDArray[Any]) -> Floats:
    return np.asarray(np.tensordot(LUMINANCE, planes.astype(np.float64), axes=1))


def srgb(light: npt.ArrayLike) -> Floats:
    """sRGB values of linear light (IEC 61966-2-1); its toe goes on below 0, its power above 1."""
    x = np.asarray(light, np.float64)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 0) ** (1 / 2.4) - 0.055)


def coloured(planes: npt.NDArray[Any], amount: float, muted: float) -> Floats:
    """Chroma changed around the grey of its luminance; ``muted`` counts as far as colours are unsaturated."""
    colours = planes.astype(np.float64)
    grey = luminance(colours)
    most = np.maximum(colours.max(axis=0), 1e-9)
    saturation = np.clip((most - np.maximum(colours.min(axis=0), 0)) / most, 0, 1)
    return grey + np.maximum(1 + amount + muted * (1 - saturation), 0) * (colours - grey)


def fitted(planes: npt.NDArray[Any]) -> Floats:
    """Colours of the same hue inside 0 to 1; those that are inside stay.

    The most negative channel is brought to 0 by mixing a colour with a grey, as bright as what can be shown
    of it. A colour whose largest channel is m times too bright is then divided by m twice, and 1 − 1/m of
    white added: its largest is 1.
    """
    colours = planes.astype(np.float64)
    grey = luminance(np.maximum(colours, 0))
    below = np.maximum(-colours.min(axis=0), 0)
    pale = grey + grey / np.maximum(grey + below, 1e-20) * (colours - grey)
    times = np.maximum(pale.max(axis=0), 1)
    made = pale / times**2 + 1 - 1 / times
    return np.where((colours.min(axis=0) >= 0) & (colours.max(axis=0) <= 1), colours, made)


def numbers(planes: npt.NDArray[Any], most: int) -> Floats:
    """Numbers of a display that would be exact: (height, width, 3), 0 to ``most``."""
    return np.asarray(np.moveaxis(srgb(np.clip(planes, 0, 1)), 0, -1) * most)


def thresholds(height: int, width: int) -> Floats:
    """What the rest of a number must reach to be rounded up, by place and channel: (height, width, 3).

    Ten of the 32 bits that a row and a column are mixed to, others for each channel, shared out over 0.02 to
    0.98.
    """

    def scattered(number: int) -> int:
        # The first product is as long as it comes; from then on all are cut to 32 bits.
        state = number * 0x9E3779B1 + 0x85EBCA77
        state = ((state ^ state >> 15) & _WORD) * 0x2C1B3C6D & _WORD
        state = (state ^ state >> 12) * 0x297A2D39 & _WORD
        return state ^ state >> 15

    rows = np.array([scattered(row) ^ 0x5BD1E995 for row in range(height)], np.uint64)
    columns = np.array([scattered(column) for column in range(width)], np.uint64)
    mixed = (rows[:, None] ^ columns) * np.uint64(0x9E3779B1) & np.uint64(_WORD)
    mixed ^= mixed >> np.uint64(15)
    shares = np.stack([(mixed >> np.uint64(11 * channel)) % 1024 for channel in range(3)], axis=-1)
    return np.asarray(0.98 - 0.96 / 1023 * shares.astype(np.float64))
