"""Effective recipes and decoded frames in a line, for tests of the engine."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from support import tinydng

from archive.engine import colour, operator
from archive.engine.decode import CameraColour, Decoded
from archive.engine.foundation import current_foundation
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues, Value

FULL = PixelSpec(fit=None, bits=16)
STRONG: dict[str, dict[str, Value]] = {
    "balance": {"kelvin": 4000.0}, "chroma": {"amount": 0.5}, "colour_noise": {"strength": 5.0},
    "contrast": {"amount": 0.4}, "crop": {"left": 0.1, "aspect": 1.0}, "distortion": {"k1": 0.05},
    "exposure": {"stops": 1.0}, "fall_off": {"k1": -0.5}, "highlight_compression": {"stops": 1.0},
    "highlight_recovery": {"stops": 1.5}, "hot_pixels": {"reach": 6.0}, "lateral_colour": {"red": 1.01},
    "local_contrast": {"amount": 0.6}, "luminance_noise": {"strength": 4.0}, "shadow_lift": {"stops": 2.0},
    "sharpness": {"amount": 2.0, "radius": 4.0}, "straighten": {"angle": 7.0}, "vignetting": {"corner": 1.5},
}  # fmt: skip
"""Values of every operator that anybody can see, but for the dark frame, which needs its master."""
DARK: dict[str, dict[str, Value]] = {
    "dark_frame": {"frames": "xxh128:a96faf705af16834e6c632b61e964e1f"},
}


def recipe(*settings: str, finish: tuple[OperatorValues, ...] = ()) -> EffectiveRecipe:
    """A recipe of settings written as ``exposure.stops=1``."""
    values: dict[str, dict[str, object]] = {}
    for setting in settings:
        name, parameter, value = operator.parse_setting(*setting.split("="))
        values.setdefault(name, {})[parameter] = value
    base = tuple(operator.checked(name, given) for name, given in values.items())
    return EffectiveRecipe(foundation=current_foundation(), base=base, finish=finish)


def camera() -> CameraColour:
    """The invented camera of ``tinydng``."""
    from_srgb = np.array(tinydng.COLOUR_MATRIX) @ colour.SRGB_TO_XYZ
    daylight = 1 / from_srgb.sum(axis=1)
    shot = 1 / np.array(tinydng.NEUTRAL)
    return CameraColour(
        to_srgb=np.linalg.inv(from_srgb * daylight[:, None]),
        as_shot=shot / shot.min(),
        daylight=daylight / daylight.min(),
    )


def frame(
    mosaic: npt.NDArray[np.uint16] | None = None,
    *,
    pattern: tuple[int, int, int, int] = (0, 1, 1, 2),
    orientation: int = 1,
) -> Decoded:
    """A decoded mosaic of the invented camera; a noisy night unless one is given."""
    return Decoded(
        pixels=tinydng.night_mosaic() if mosaic is None else mosaic,
        pattern=pattern,
        black=(float(tinydng.BLACK),) * 4,
        white=float(tinydng.WHITE),
        camera=camera(),
        orientation=orientation,
    )


def picture(light: npt.NDArray[np.float32], *, orientation: int = 1) -> Decoded:
    """A decoded picture of linear sRGB light, float32, (height, width, 3)."""
    return Decoded(pixels=light.astype(np.float32), orientation=orientation)
