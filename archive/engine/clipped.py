"""The colour around clipped parts of a picture, from which their lost channels are rebuilt."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import clipping, light
from archive.engine.kernels.rows import Rows

Planes = npt.NDArray[np.float32]

# Blocks of 2 ** 3 pixels are fine enough for the colour of surroundings.
_DOUBLINGS = 3
_TRUST = np.float32(0.02)
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
    around = colour_around(known[:3], known[3])
    rows.run(clipping.rebuild, height, planes, gains, around, _DOUBLINGS)


def colour_around(sums: Planes, weight: npt.NDArray[np.float32]) -> Planes:
    """Colour at every place: its own where something is known, else that of ever wider surroundings.

    Parameters
    ----------
    sums : float32, (3, height, width), weighted colour. weight : float32, (height, width).

    Returns
    -------
    float32, (3, height, width), largest channel 1; grey where nothing is known at all.
    """
    levels = [(sums, weight)]
    while max(levels[-1][1].shape) > 1:
        levels.append((_halved(levels[-1][0]), _halved(levels[-1][1][None])[0]))
    colour = np.ones((3, 1, 1), np.float32)
    for total, known in reversed(levels):
        wider = _grown(colour)[:, : total.shape[1], : total.shape[2]]
        own = total / np.maximum(np.maximum(total[0], np.maximum(total[1], total[2])), np.float32(1e-12))
        share = known / (known + _TRUST)
        colour = own * share + wider * (1 - share)
    most = np.maximum(colour[0], np.maximum(colour[1], colour[2]))
    return np.ascontiguousarray(np.maximum(colour / most, 1 / _STRONGEST), np.float32)


def _halved(planes: Planes) -> Planes:
    for axis in (1, 2):
        if planes.shape[axis] % 2:
            last = planes[:, -1:] if axis == 1 else planes[:, :, -1:]
            planes = np.concatenate([planes, last], axis=axis)
    # Plain additions, which are the same on every processor; a mean may not be.
    above = planes[:, ::2, ::2] + planes[:, ::2, 1::2]
    return np.asarray((above + planes[:, 1::2, ::2] + planes[:, 1::2, 1::2]) * np.float32(0.25))


def _grown(planes: Planes) -> Planes:
    """Twice the size, between its pixels."""
    for axis in (1, 2):
        line = np.moveaxis(planes, axis, 0)
        before = np.concatenate([line[:1], line[:-1]])
        after = np.concatenate([line[1:], line[-1:]])
        out = np.empty((2 * line.shape[0], *line.shape[1:]), np.float32)
        out[::2] = np.float32(0.75) * line + np.float32(0.25) * before
        out[1::2] = np.float32(0.75) * line + np.float32(0.25) * after
        planes = np.moveaxis(out, 0, axis)
    return planes
