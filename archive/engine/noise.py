"""Take noise away, in square-root light where it is equally strong in dark and bright parts."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine import spatial
from archive.engine.kernels import grain
from archive.engine.kernels.rows import Rows
from archive.engine.operators.noise import ColourNoise, LuminanceNoise

Planes = npt.NDArray[np.float32]

# Radii in ‰ of the frame's diagonal, with least and most pixels.
_LUMINANCE_RADIUS, _COLOUR_RADIUS = 0.9, 4.0
_LEAST, _MOST = 2.0, 6.0


def denoise(
    planes: Planes,
    luminance: LuminanceNoise | None,
    colour: ColourNoise | None,
    root_offset: float,
    diagonal: float,
    rows: Rows,
) -> None:
    """Smooth balanced camera light in place.

    planes : float32, (3, height, width). root_offset : what to add to light before its root is taken.
    diagonal : the frame's, in output pixels.
    """
    height = planes.shape[1]
    offset = np.float32(root_offset)
    # Red, green, blue become luma, red − luma, blue − luma of the roots.
    rows.run(grain.to_roots, height, planes, offset)
    sigmas = [spatial.measured_sigma(plane) for plane in planes]
    luma = planes[0]
    removed = 0.0
    smooth = luma
    if luminance is not None and sigmas[0] > 0:
        radius = float(np.clip(_LUMINANCE_RADIUS / 1000 * diagonal, _LEAST, _MOST))
        smooth = luma
        for share in (1.0, 0.5):
            tolerance = (luminance.strength * sigmas[0] * share) ** 2
            smooth = spatial.guided(smooth, smooth, round(radius), tolerance, rows, coarse=False)
        kept = np.empty_like(luma)
        rows.run(grain.keep_stars, height, luma, smooth, np.float32(sigmas[0]), kept)
        smooth = kept
        removed += sigmas[0] ** 2 * luminance.strength**2 / (1 + luminance.strength**2)
    chroma_removed = [0.0, 0.0]
    if colour is not None:
        radius = max(_LEAST, _COLOUR_RADIUS / 1000 * diagonal)
        guide = spatial.guided(smooth, smooth, 2, (2 * sigmas[0]) ** 2, rows, coarse=False)
        for index in (1, 2):
            if sigmas[index] <= 0:
                continue
            tolerance = (colour.strength * max(sigmas[0], 1e-5)) ** 2
            planes[index] = spatial.guided(guide, planes[index], radius, tolerance, rows, coarse=True)
            chroma_removed[index - 1] = sigmas[index] ** 2
    planes[0] = smooth
    # The square of a smoothed root is too small by the variance that was smoothed away.
    green_removed = removed + 0.25 * sum(chroma_removed)
    lost = (removed + chroma_removed[0], green_removed, removed + chroma_removed[1])
    rows.run(grain.from_roots, height, planes, offset, *(np.float32(each) for each in lost))
