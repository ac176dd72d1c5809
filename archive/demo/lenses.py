"""Pictures as a lens would have drawn them, so that what undoes a lens has something to undo."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from archive.engine import operator
from archive.engine.lensmodel import LensModel, radial_gains
from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting
from archive.model.recipe import Value

Light = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

DRAWN: Mapping[str, Mapping[str, float]] = {
    "vignetting": {"corner": 1.5},
    "fall_off": {"k1": -0.6},
    "distortion": {"k1": -0.03},
    "lateral_colour": {"red": 1.002, "blue": 0.998},
}
"""What the lens operators undo here: faults of fast wide lenses, as they are common."""
_SHARES = {"low": 1 / 3, "mid": 2 / 3, "high": 1.0}
_STEPS = 4097


def undoing(name: str) -> tuple[tuple[str, Mapping[str, Value]], ...]:
    """A third, two thirds and the whole of what undoes ``DRAWN``, as ``("low: k1 −0.01", values)``."""
    made = []
    for word, share in _SHARES.items():
        values: dict[str, Value] = {}
        for parameter, whole in DRAWN[name].items():
            neutral = float(operator.declaration(name).parameter(parameter).default)  # type: ignore[union-attr]
            values[parameter] = round(neutral + share * (whole - neutral), 5)
        told = ", ".join(f"{each} {value:.5g}".replace("-", "−") for each, value in values.items())
        made.append((f"{word}: {told}", values))
    return tuple(made)


def drawn(light: Light, name: str) -> Light:
    """A picture as a lens with the faults of ``DRAWN[name]`` would have drawn it.

    light : float32, (height, width, 3), linear. Where the lens sees further than the picture shows, it is
    magnified until it is filled.
    """
    step = operator.instance(operator.checked(name, DRAWN[name]))
    height, width = light.shape[:2]
    half = float(np.hypot(width, height)) / 2
    y, x = np.mgrid[0:height, 0:width] + 0.5
    x, y = (x - width / 2) / half, (y - height / 2) / half
    distance = np.hypot(x, y)
    if isinstance(step, Vignetting | FallOff):
        gains = radial_gains(*((step, None) if isinstance(step, Vignetting) else (None, step)))
        left = 1 / np.interp(distance**2, np.linspace(0, 1, len(gains)), gains)
        return np.asarray(light * left[..., None], np.float32)
    model = LensModel(
        distortion=step if isinstance(step, Distortion) else None,
        lateral=step if isinstance(step, LateralColour) else None,
    )
    ideal = np.linspace(0, 1.5, _STEPS)
    ways = []
    for channel in range(3):
        fell = model.placed(ideal, np.zeros(_STEPS), channel)[0]
        ways.append(np.interp(distance, fell, ideal) / np.maximum(distance, 1e-9))
    # Every channel is magnified as one, or fringes would change.
    filled = max(1.0, *(float(np.max(way[edge])) for way in ways for edge in _edges()))
    out = np.empty_like(light)
    for channel, way in enumerate(ways):
        across, down = x * way / filled * half + width / 2, y * way / filled * half + height / 2
        out[..., channel] = _between(light[..., channel], across - 0.5, down - 0.5)
    return out


def _edges() -> tuple[tuple[int | slice, int | slice], ...]:
    every = slice(None)
    return ((0, every), (-1, every), (every, 0), (every, -1))


def _between(plane: Light, x: Floats, y: Floats) -> Floats:
    """Values of a plane between its samples, bilinear; its edges go on."""
    height, width = plane.shape
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    left, top = np.minimum(x.astype(int), width - 2), np.minimum(y.astype(int), height - 2)
    right, below = x - left, y - top
    upper = plane[top, left] * (1 - right) + plane[top, left + 1] * right
    lower = plane[top + 1, left] * (1 - right) + plane[top + 1, left + 1] * right
    return np.asarray(upper * (1 - below) + lower * below)
