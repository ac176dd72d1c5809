"""How much of a frame's light is the aurora's green, and how much its red, told from cells."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from archive.model.survey import Cells

_OWN_SKY, _LEAST_RED = 0.1, 0.05
_MOST_LEAK = 0.6
"""Of a row that is red throughout, what comes with green is still no leak beyond this (common practice)."""


def green_excess(cells: Cells) -> float:
    """How much greener than the mean of red and blue, mean over all cells.

    The green line at 557.7 nm is the aurora's; nothing else at night is so green. Cells that are less so than
    grey count as nothing.
    """
    over = (max(0.0, g - (r + b) / 2) for r, g, b in zip(cells.red, cells.green, cells.blue, strict=True))
    return sum(over) / len(cells.green)


def red_excess(frames: Sequence[Cells], gains: Sequence[float]) -> list[float]:
    """How much red each frame of a row has that its green light does not bring along, mean over all cells.

    What a cell has on its darkest tenth of frames is its own sky, and light that is as blue as it is red is
    dusk or the moon: both are taken off. A camera's filters let part of the green line through: how much is
    told by the row itself, by the red that comes with green in the cells where least does.

    Parameters
    ----------
    frames : the cells of each frame in order, all of one shape. gains : what settings brighten, in stops.
    """
    light = np.array([(cells.red, cells.green, cells.blue) for cells in frames])
    light /= np.exp2(np.array(gains))[:, None, None]
    light -= np.quantile(light, _OWN_SKY, axis=0)
    red, green = light[:, 0] - light[:, 2], np.maximum(light[:, 1] - light[:, 2], 0.0)
    lit = green > 0.1 * green.max()
    share = float(np.quantile(red[lit] / green[lit], _LEAST_RED)) if lit.any() else 0.0
    over = np.maximum(red - min(share, _MOST_LEAK) * green, 0.0)
    return [float(value) for value in over.mean(axis=1)]
