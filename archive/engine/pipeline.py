"""Decoded scene data and an effective recipe → a finished picture.

Light stays scene-linear float32 from the sensor to the display encoding, 1.0 = clipping. Operators that are
at their neutral values take no part at all, so that they leave every bit alone. The order of the base is
fixed here: sensor, framing, balance, fall-off, noise, exposure, matrix, surroundings, contrast, chroma,
sharpness; the finish follows in its own order.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from archive.engine import colour, curves, foundation, framing, operator, sampling, spatial
from archive.engine.declaration import Operator
from archive.engine.decode import Decoded
from archive.engine.framing import View
from archive.engine.kernels import light
from archive.engine.kernels.rows import Rows
from archive.engine.noise import denoise
from archive.engine.operators.colour import Balance, Chroma
from archive.engine.operators.framing import Crop, Straighten
from archive.engine.lensmodel import LensModel, radial_gains
from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting
from archive.engine.operators.noise import ColourNoise, LuminanceNoise
from archive.engine.operators.sensor import HotPixels
from archive.engine.operators.sharpness import Sharpness
from archive.engine.operators.tone import Contrast, Exposure, HighlightRecovery, ShadowLift
from archive.engine.sharpen import sharpen
from archive.errors import ArchiveError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

Planes = npt.NDArray[np.float32]
Kind = TypeVar("Kind", bound=Operator)

# Radius of what counts as surroundings, ‰ of the diagonal, and the variance (stops²) below which they count
# as plain.
_SURROUNDINGS, _PLAIN = 12.0, 0.35
_DARKEST = -13.0
_PICTURE_WHITE = colour.D65


class _Steps:
    """A recipe's operators that are not neutral, found by what they are."""

    def __init__(self, effective: EffectiveRecipe) -> None:
        base = [operator.instance(values) for values in effective.base]
        kept = zip(base, effective.base, strict=True)
        self._base = {type(step): step for step, values in kept if not operator.is_neutral(values)}
        finish = [operator.instance(values) for values in effective.finish]
        pairs = list(zip(finish, effective.finish, strict=True))
        for step, values in pairs:
            if not step.declared.finish:
                raise ArchiveError(
                    f"The operator {values.name} cannot be a finish step.",
                    hint="The recipe and the master are untouched; use it in the recipe's base.",
                )
        self.finish = [step for step, values in pairs if not operator.is_neutral(values)]

    @property
    def lens(self) -> LensModel:
        return LensModel(distortion=self.of(Distortion), lateral=self.of(LateralColour))

    def of(self, kind: type[Kind]) -> Kind | None:
        step = self._base.get(kind)
        return step if isinstance(step, kind) else None


def render(
    decoded: Decoded, effective: EffectiveRecipe, pixels: PixelSpec, *, threads: int = 1
) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """The finished picture: uint8 or uint16, (height, width, 3), sRGB, upright, fitted into the box.

    Colours outside sRGB keep their hue and become paler until they fit. 8-bit pictures are dithered
    by place.

    Raises
    ------
    ArchiveError : the recipe needs an operator, version or foundation that this release does not have, or the
        spec asks for what cannot be made.
    """
    if pixels.bits not in (8, 16) or pixels.space != "srgb":
        raise ArchiveError(
            f"Pictures of {pixels.bits} bits in {pixels.space} cannot be made.",
            hint="Nothing was rendered; this release makes 8 or 16 bits in srgb.",
        )
    with Rows(threads) as rows:
        planes = _developed(decoded, effective, pixels, rows)
        kind = np.uint8 if pixels.bits == 8 else np.uint16
        out: npt.NDArray[np.uint8] | npt.NDArray[np.uint16] = np.empty((*planes.shape[1:], 3), kind)
        levels = np.float32(np.iinfo(kind).max)
        rows.run(light.fit_colours, out.shape[0], planes)
        rows.run(light.display, out.shape[0], planes, curves.display_table(), levels, pixels.bits == 8, out)
    return out


def render_linear(
    decoded: Decoded, effective: EffectiveRecipe, pixels: PixelSpec, *, threads: int = 1
) -> npt.NDArray[np.float32]:
    """The same picture before the display encoding: float32, (height, width, 3), linear sRGB, not clipped."""
    with Rows(threads) as rows:
        planes = _developed(decoded, effective, pixels, rows)
    return np.ascontiguousarray(np.moveaxis(planes, 0, -1))


def _developed(decoded: Decoded, effective: EffectiveRecipe, pixels: PixelSpec, rows: Rows) -> Planes:
    foundation.require(effective.foundation)
    steps = _Steps(effective)
    height, width = decoded.pixels.shape[:2]
    view = framing.view_of(
        width, height, aspect=decoded.aspect, orientation=decoded.orientation,
        straighten=steps.of(Straighten), crop=steps.of(Crop), pixels=pixels, lens=steps.lens,
    )  # fmt: skip
    planes, root_offset = _camera_light(decoded, steps, view, rows)
    colour_step, luminance_step = steps.of(ColourNoise), steps.of(LuminanceNoise)
    if colour_step or luminance_step:
        denoise(planes, luminance_step, colour_step, root_offset, view.frame_diagonal, rows)
    _to_srgb(planes, decoded, steps.of(Balance), rows)
    if exposure := steps.of(Exposure):
        rows.run(light.scale, planes.shape[1], planes, np.float32(2**exposure.stops))
    _tone(planes, steps, view, _headroom(decoded, steps), rows)
    if chroma := steps.of(Chroma):
        amounts = np.float32(chroma.amount), np.float32(chroma.muted)
        rows.run(light.change_chroma, planes.shape[1], planes, *amounts)
    if sharpness := steps.of(Sharpness):
        sharpen(planes, sharpness, view.frame_diagonal, rows)
    for step in steps.finish:
        if isinstance(step, Contrast):
            _contrast(planes, step, rows)
        elif isinstance(step, Sharpness):
            sharpen(planes, step, view.frame_diagonal, rows)
    return planes


def _camera_light(decoded: Decoded, steps: _Steps, view: View, rows: Rows) -> tuple[Planes, float]:
    """Balanced camera light of the view, and the offset that makes its square root equally noisy."""
    gains = _gains(decoded, steps.of(Balance))
    recovery = steps.of(HighlightRecovery)
    # Without recovery every channel stops where the first one clips, so that clipping is white.
    ceilings = np.ones(3) if recovery else 1 / gains
    if not decoded.is_mosaic and decoded.camera is None:
        ceilings = np.full(3, np.inf)
    hot = steps.of(HotPixels)
    needs_noise = hot or steps.of(LuminanceNoise) or steps.of(ColourNoise)
    noise = sampling.noise_of(decoded, rows) if needs_noise else None
    if hot and noise and decoded.is_mosaic:
        decoded = _with_pixels(decoded, sampling.cooled(decoded, hot.reach, noise, rows))
    planes = sampling.sampled(decoded, view, steps.lens, ceilings.astype(np.float32), None, rows)
    if np.any(gains != 1) or recovery:
        rebuild = recovery is not None and decoded.camera is not None
        rows.run(light.balance, planes.shape[1], planes, gains.astype(np.float32), rebuild)
    vignetting, fall_off = steps.of(Vignetting), steps.of(FallOff)
    if vignetting or fall_off:
        sampling.evened(planes, view, steps.lens, radial_gains(vignetting, fall_off), rows)
    return planes, noise.root_offset if noise else 1e-3


def _with_pixels(decoded: Decoded, mosaic: npt.NDArray[np.uint16]) -> Decoded:
    return Decoded(
        pixels=mosaic, pattern=decoded.pattern, black=decoded.black, white=decoded.white,
        camera=decoded.camera, orientation=decoded.orientation, aspect=decoded.aspect, sensor=decoded.sensor,
    )  # fmt: skip


def _gains(decoded: Decoded, balance: Balance | None) -> npt.NDArray[np.float64]:
    if decoded.camera is None:
        return np.ones(3)
    if balance is None:
        return decoded.camera.as_shot
    return decoded.camera.multipliers_for(_white(balance))


def _white(balance: Balance) -> colour.Chromaticity:
    if balance.source == "daylight":
        return colour.daylight_xy(balance.kelvin)
    return colour.illuminant_xy(balance.kelvin, balance.duv)


def _to_srgb(planes: Planes, decoded: Decoded, balance: Balance | None, rows: Rows) -> None:
    if decoded.camera is not None:
        matrix = decoded.camera.to_srgb
    elif balance is not None:
        adapt = colour.bradford(colour.xyz_of(_white(balance)), colour.xyz_of(_PICTURE_WHITE))
        matrix = colour.XYZ_TO_SRGB @ adapt @ colour.SRGB_TO_XYZ
    else:
        return
    if not np.array_equal(matrix, np.eye(3)):
        rows.run(light.apply_matrix, planes.shape[1], planes, matrix.astype(np.float32))


def _headroom(decoded: Decoded, steps: _Steps) -> float:
    """Stops by which the brightest light that the frame can hold lies above white."""
    exposure = steps.of(Exposure)
    gains = _gains(decoded, steps.of(Balance))
    return float(np.log2(gains.max())) + (exposure.stops if exposure else 0.0)


def _tone(planes: Planes, steps: _Steps, view: View, headroom: float, rows: Rows) -> None:
    lift, recovery = steps.of(ShadowLift), steps.of(HighlightRecovery)
    if lift or recovery:
        stops = _stops(planes, rows)
        radius = max(1.0, _SURROUNDINGS / 1000 * view.frame_diagonal)
        around = spatial.guided(stops, stops, radius, _PLAIN, rows, coarse=True)
        _apply(planes, around, curves.regional_gain(lift, recovery, headroom), rows)
    if contrast := steps.of(Contrast):
        _contrast(planes, contrast, rows)


def _contrast(planes: Planes, contrast: Contrast, rows: Rows) -> None:
    _apply(planes, _stops(planes, rows), curves.contrast_gain(contrast), rows)


def _stops(planes: Planes, rows: Rows) -> npt.NDArray[np.float32]:
    out: npt.NDArray[np.float32] = np.empty_like(planes[0])
    rows.run(light.stops_of_luminance, out.shape[0], planes, np.float32(_DARKEST), out)
    return out


def _apply(planes: Planes, stops: npt.NDArray[np.float32], table: curves.Table, rows: Rows) -> None:
    lowest, per_stop = np.float32(curves.LOWEST), np.float32(curves.PER_STOP)
    rows.run(light.apply_gain_table, planes.shape[1], planes, stops, table, lowest, per_stop)
