"""The colour around clipped parts of a picture, from which their lost channels are rebuilt."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import clipping, light
from archive.engine.kernels.rows import Rows

Planes = npt.NDArray[np.float32]

# Blocks of 2 ** 3 pixels are fine enough for the colour of surroundings.
_DOUBLINGS = 3
# No surroundings are more strongly coloured than this, largest channel by smallest.
_STRONGEST = np.float32(12)


def rebuilt(planes: Planes, gains: npt.NDArray[np.float32], rows: Rows) -> None:
    """Balance camera light in place and rebuild its clipped channels.

    planes : float32, (3, height, width), 1.0 = each channel's own clipping. gains : float32, (3,).
    """
    height, width = planes.shape[1:]
    block = 1 << _DOUBLINGS
    known = np.empty((5, -(-height // block), -(-width // block)), np.float32)
    rows.run(clipping.known_colours, known.shape[1], planes, gains, block, known)
    if not known[4].any():
        rows.run(light.balance, height, planes, gains)
        return
    around = colour_around(known[:4], rows)
    rows.run(clipping.rebuild, height, planes, gains, around, _DOUBLINGS)


def colour_around(sums: Planes, rows: Rows) -> Planes:
    """Colour at every place: its own where something is known, else that of ever wider surroundings.

    Parameters
    ----------
    sums : float32, (4, height, width), weighted red, green and blue, and the weight.

    Returns
    -------
    float32, (3, height, width), largest channel 1; grey where nothing is known at all.
    """
    levels = [sums]
    while max(levels[-1].shape[1:]) > 1:
        height, width = levels[-1].shape[1:]
        smaller = np.empty((4, -(-height // 2), -(-width // 2)), np.float32)
        rows.run(clipping.quarter_sums, smaller.shape[1], levels[-1], smaller)
        levels.append(smaller)
    colour = np.ones((3, 1, 1), np.float32)
    for level in reversed(levels):
        finer = np.empty((3, *level.shape[1:]), np.float32)
        rows.run(clipping.colours_known, level.shape[1], level, colour, finer)
        colour = finer
    most = np.maximum(colour[0], np.maximum(colour[1], colour[2]))
    return np.asarray(np.maximum(colour / most, 1 / _STRONGEST))
