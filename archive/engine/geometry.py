"""Where every output pixel lies on the sensor: crop, straightening, lens and orientation in one map.

The map is worked out on a grid of knots and interpolated between them, for each channel by itself where the
lens spreads colours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.framing import TRANSPOSED, View
from archive.engine.lensmodel import GREEN, LensModel

Floats = npt.NDArray[np.float64]

STEP = 16
"""Output pixels from knot to knot."""
_MIRRORED_ACROSS, _MIRRORED_DOWN = (2, 3, 6, 7), (3, 4, 7, 8)


@dataclass(frozen=True, kw_only=True, eq=False)
class Knots:
    """Places on the sensor of the pixels at multiples of ``STEP``, for an output lying as the sensor does.

    x, y : float64, (channels, rows, columns), in samples of the stored frame, 0 at its outer edge; one
        channel stands for all three where they agree.
    columns, rows : size of the output as the sensor lies.
    """

    x: Floats
    y: Floats
    columns: int
    rows: int

    def of(self, channel: int) -> tuple[Floats, Floats]:
        """Places for one channel."""
        index = channel if len(self.x) == 3 else 0
        return self.x[index], self.y[index]


def knots(view: View, lens: LensModel, orientation: int, stored_width: int, stored_height: int) -> Knots:
    """The knots of a view of a frame of this stored size (samples)."""
    turned = orientation in TRANSPOSED
    columns, rows = (view.rows, view.columns) if turned else (view.columns, view.rows)
    across = (np.arange(-(-columns // STEP) + 1) * STEP + 0.5) / columns
    down = (np.arange(-(-rows // STEP) + 1) * STEP + 0.5) / rows
    share_x, share_y = np.meshgrid(across, down)
    if turned:
        share_x, share_y = share_y, share_x
    if orientation in _MIRRORED_ACROSS:
        share_x = 1 - share_x
    if orientation in _MIRRORED_DOWN:
        share_y = 1 - share_y
    x, y = view.left + share_x * view.width, view.top + share_y * view.height
    cosine, sine = math.cos(view.angle), math.sin(view.angle)
    half = math.hypot(view.frame_width, view.frame_height) / 2
    ideal_x, ideal_y = (x * cosine + y * sine) / half, (y * cosine - x * sine) / half
    channels = (0, 1, 2) if lens.lateral is not None else (GREEN,)
    placed = [lens.placed(ideal_x, ideal_y, channel) for channel in channels]
    shares = [(px * half / view.frame_width, py * half / view.frame_height) for px, py in placed]
    stored = [_on_sensor(sx + 0.5, sy + 0.5, orientation) for sx, sy in shares]
    return Knots(
        x=np.stack([sx for sx, _ in stored]) * stored_width,
        y=np.stack([sy for _, sy in stored]) * stored_height,
        columns=columns,
        rows=rows,
    )


def _on_sensor(x: Floats, y: Floats, orientation: int) -> tuple[Floats, Floats]:
    """A place of the upright frame (shares of its sides) as one of the stored frame."""
    if orientation in _MIRRORED_ACROSS:
        x = 1 - x
    if orientation in _MIRRORED_DOWN:
        y = 1 - y
    return (y, x) if orientation in TRANSPOSED else (x, y)
