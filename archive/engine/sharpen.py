"""Strengthen fine detail in brightness."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine import spatial
from archive.engine.kernels import detail
from archive.engine.kernels.rows import Rows
from archive.engine.operators.sharpness import Sharpness

# Below this many pixels of radius, detail of that size is no longer in the picture.
_LEAST_SIGMA = 0.3


def sharpen(planes: npt.NDArray[np.float32], sharpness: Sharpness, diagonal: float, rows: Rows) -> None:
    """Sharpen linear colour in place; ``diagonal`` is the frame's, in output pixels."""
    height = planes.shape[1]
    sigma = sharpness.radius / 1000 * diagonal / 2
    if sigma < _LEAST_SIGMA:
        return
    roots = np.empty(planes.shape[1:], np.float32)
    rows.run(detail.luminance_roots, height, planes, roots)
    smooth = spatial.blurred(roots, sigma, rows)
    floor = sharpness.floor * spatial.measured_sigma(roots)
    rows.run(
        detail.add_detail, height, planes, roots, smooth, np.float32(sharpness.amount), np.float32(floor)
    )
