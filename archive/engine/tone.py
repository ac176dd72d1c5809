"""Tone, local contrast and sharpness of a developed picture, lowered to one gain for each pixel.

One such pass does all of them for a recipe's base; each finish step is a pass of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine import curves, spatial
from archive.engine.kernels import detail, neighbourhood
from archive.engine.kernels.rows import Rows, Step
from archive.engine.operators.sharpness import Sharpness
from archive.engine.operators.tone import (
    Contrast,
    HighlightCompression,
    HighlightRecovery,
    LocalContrast,
    ShadowLift,
)

Planes = npt.NDArray[np.float32]
Plane = npt.NDArray[np.float32]

# Radius of what counts as surroundings, ‰ of the diagonal, and the variance (stops²) below which they count
# as plain.
_SURROUNDINGS, _PLAIN = 12.0, 0.35
_LEAST_RADIUS = 5.0
_DARKEST = -13.0
# Below this many pixels of radius, detail of that size is no longer in the picture.
_LEAST_SIGMA = 0.3
_NONE = np.empty(0, np.float32)
_NOWHERE = np.empty((0, 0), np.float32)


@dataclass(frozen=True, kw_only=True)
class Tone:
    """Operators that are applied together; None takes no part.

    ``headroom`` is by how many stops the brightest recorded light lies above white.
    """

    lift: ShadowLift | None = None
    recovery: HighlightRecovery | None = None
    compression: HighlightCompression | None = None
    local: LocalContrast | None = None
    contrast: Contrast | None = None
    sharpness: Sharpness | None = None
    headroom: float = 0.0

    @property
    def by_surroundings(self) -> bool:
        return bool(self.lift or self.recovery or self.compression)

    def sigma(self, diagonal: float) -> float:
        """Of the Gaussian that separates fine detail, in pixels; 0 where none is to be strengthened."""
        if self.sharpness is None:
            return 0.0
        sigma = self.sharpness.radius / 1000 * diagonal / 2
        return sigma if sigma >= _LEAST_SIGMA else 0.0


def toned(planes: Planes, tone: Tone, diagonal: float, rows: Rows, pending: list[Step]) -> list[Step]:
    """Do the ``pending`` steps on linear colour and find each pixel's gain; the steps left to do.

    planes : float32, (3, height, width), linear sRGB, changed in place. diagonal : the frame's, in pixels.
    """
    sigma = tone.sigma(diagonal)
    shaped = tone.by_surroundings or tone.local or tone.contrast
    if not shaped and not sigma:
        return pending
    height, width = planes.shape[1:]
    roots = np.empty((height, width), np.float32)
    rows.chain([*pending, (detail.luminance_roots, (planes, roots))], height, width)
    gains = np.empty_like(roots)
    around = (_NOWHERE, _NOWHERE, 0)
    if tone.by_surroundings or tone.local:
        around = surroundings(roots, diagonal, rows)
    regional = curve = _NONE
    if tone.by_surroundings:
        regional = curves.regional_stops(tone.lift, tone.recovery, tone.compression, tone.headroom)
    if tone.contrast:
        curve = curves.contrast_stops(tone.contrast)
    local = np.float32(tone.local.amount if tone.local else 0)
    steps: list[Step] = [(detail.gains_of_tone, (
        roots, np.float32(_DARKEST), *around, regional, local, curve,
        np.float32(curves.LOWEST), np.float32(curves.PER_STOP), gains,
    ))]  # fmt: skip
    if tone.sharpness and sigma:
        steps += _sharpening(roots, tone.sharpness, sigma, gains, rows)
    return [*steps, (detail.multiply, (planes, gains))]


def surroundings(roots: Plane, diagonal: float, rows: Rows) -> tuple[Plane, Plane, int]:
    """Slope and offset by which the stops of a place's surroundings follow its own, and how often halved.

    roots : float32, (height, width), square roots of luminance.
    """
    radius = max(1.0, _SURROUNDINGS / 1000 * diagonal)
    halvings = spatial.halvings_for(radius, _LEAST_RADIUS)
    small = spatial.halved(roots, rows) if halvings else roots
    stops = np.empty_like(small)
    rows.run(detail.stops_of_roots, small.shape[0], small, np.float32(_DARKEST), stops)
    for _ in range(halvings - 1):
        stops = spatial.halved(stops, rows)
    reach = max(1, round(radius / 2**halvings))
    return *spatial.guided(stops, stops, reach, _PLAIN, rows), halvings


def _sharpening(roots: Plane, sharpness: Sharpness, sigma: float, gains: Plane, rows: Rows) -> list[Step]:
    floor = np.float32(sharpness.floor * spatial.measured_sigma(roots))
    amount = np.float32(sharpness.amount)
    if not spatial.is_wide(sigma):
        smooth = np.empty_like(roots)
        return [
            (neighbourhood.blur, (roots, spatial.gaussian(sigma), smooth)),
            (detail.sharpen_gains, (roots, smooth, amount, floor, gains)),
        ]
    return [(detail.sharpen_gains, (roots, spatial.blurred(roots, sigma, rows), amount, floor, gains))]
