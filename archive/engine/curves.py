"""Tables that tone operators are lowered to: stops of light → stops added, light → sRGB values.

Tables are rounded to steps far below what can be seen, so that processors whose powers differ in the last
bit make the same picture.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from archive.engine import colour
from archive.engine.operators.tone import Contrast, HighlightCompression, HighlightRecovery, ShadowLift

Table = npt.NDArray[np.float32]

LOWEST, HIGHEST, PER_STOP = -16.0, 6.0, 32.0
_DISPLAY_STEPS = 16384
_TOE = 2.5
# Clipped light is lowered below white by fewer stops than this: a dull grey is no highlight.
_BELOW_WHITE = 1.0
_FLATTEST = 0.15


def _stops() -> npt.NDArray[np.float64]:
    return np.arange(LOWEST, HIGHEST + 0.5 / PER_STOP, 1 / PER_STOP)


def _rounded(values: npt.NDArray[np.float64]) -> Table:
    return np.round(values, 6).astype(np.float32)


def _smoothstep(x: npt.NDArray[np.float64], low: float, high: float) -> npt.NDArray[np.float64]:
    t = np.clip((x - low) / (high - low), 0, 1)
    return t * t * (3 - 2 * t)


def regional_stops(
    lift: ShadowLift | None,
    recovery: HighlightRecovery | None,
    compression: HighlightCompression | None,
    headroom: float,
) -> Table:
    """Stops added by the stops of a pixel's surroundings; never so steep that tones change order.

    headroom : stops above white of the brightest recorded light; recovery lowers it to white at most.
    """
    stops = _stops()
    added = np.zeros_like(stops)
    if lift is not None:
        width = 2 + 2 * abs(lift.stops)
        added += lift.stops * (1 - _smoothstep(stops, -lift.reach - width / 2, -lift.reach + width / 2))
    if recovery is not None and headroom > 0:
        lowered = recovered(recovery, headroom)
        width = max(3.0, 2 * lowered)
        added -= lowered * _smoothstep(stops, headroom - width, headroom)
    if compression is not None:
        whole = compressed(compression, recovered(recovery, headroom), headroom)
        added -= _lowering(stops, compression, whole, headroom)
    # Strong lift and strong recovery meet in the middle tones: hold the slope there.
    slopes = np.maximum(np.diff(stops + added), _FLATTEST / PER_STOP)
    curve = stops[0] + added[0] + np.concatenate([[0.0], np.cumsum(slopes)])
    return _rounded(curve - stops)


def recovered(recovery: HighlightRecovery | None, headroom: float) -> float:
    """Stops by which recovery lowers the brightest light."""
    return min(recovery.stops, max(headroom, 0.0)) if recovery else 0.0


def compressed(compression: HighlightCompression, recovered: float, headroom: float) -> float:
    """Stops by which compression lowers the brightest light.

    All that was asked for down to white, and less and less of what goes on below it.
    """
    above = min(compression.stops, max(headroom, 0.0) - recovered)
    below = compression.stops - above
    return above + below / (1 + below / _BELOW_WHITE)


def _lowering(
    stops: npt.NDArray[np.float64], compression: HighlightCompression, whole: float, headroom: float
) -> npt.NDArray[np.float64]:
    """What compression takes off: the more the brighter, so that nowhere tones move apart."""
    width = headroom + compression.reach
    if width <= 0:
        return np.zeros_like(stops)
    return np.asarray(whole * np.clip((stops + compression.reach) / width, 0, 1) ** 2)


def contrast_stops(contrast: Contrast) -> Table:
    """Stops added by a pixel's own: steeper at the pivot; clipping and deep shadow keep their slope."""
    distance = _stops() - contrast.pivot
    top = -contrast.pivot
    upper = contrast.amount * distance * np.clip(1 - distance / top, 0, None)
    lower = contrast.amount * _TOE * np.tanh(distance / _TOE)
    return _rounded(np.where(distance >= 0, upper, lower))


@cache
def display_table() -> Table:
    """sRGB numbers of 16 bits for light at evenly spaced square roots 0 to 1."""
    roots = np.linspace(0, 1, _DISPLAY_STEPS + 1)
    return np.round(colour.srgb_encode(roots**2) * 65535, 4).astype(np.float32)
