"""Decoded scene data and an effective recipe → a finished picture.

Light stays scene-linear float32 from the sensor to the display encoding, 1.0 = clipping. Operators that are
at their neutral values take no part at all, so that they leave every bit alone. The order of the base is
fixed here: sensor, framing, balance, noise, fall-off, exposure, matrix, tone with sharpness, chroma; the
finish follows in its own order. What looks at single pixels only is done band by band in one go.
"""

from __future__ import annotations

import math
from typing import TypeVar
from weakref import ref

import numpy as np
import numpy.typing as npt

from archive.engine import colour, curves, foundation, framing, freed, operator, sampling
from archive.engine.clipped import rebuilt
from archive.engine.darkframe import MasterDark, darkened
from archive.engine.declaration import Operator
from archive.engine.decode import Decoded
from archive.engine.framing import View
from archive.engine.keptplanes import KeptPlanes, Light
from archive.engine.kernels import detail, light
from archive.engine.kernels.rows import Rows, Step
from archive.engine.lensmodel import LensModel, radial_gains
from archive.engine.noise import denoise
from archive.engine.noisemodel import NoiseModel
from archive.engine.operators.colour import Balance, Chroma
from archive.engine.operators.framing import Crop, Straighten
from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting
from archive.engine.operators.noise import ColourNoise, LuminanceNoise
from archive.engine.operators.sensor import DarkFrame, HotPixels
from archive.engine.operators.sharpness import Sharpness
from archive.engine.operators.tone import (
    Contrast,
    Exposure,
    HighlightCompression,
    HighlightRecovery,
    LocalContrast,
    ShadowLift,
)
from archive.engine.tone import Tone, toned
from archive.errors import ArchiveError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

Planes = npt.NDArray[np.float32]
Kind = TypeVar("Kind", bound=Operator)

_PICTURE_WHITE = colour.D65
# What works on planes that are balanced and calm already. Of these, recovery alone is felt before.
_LATE = (
    Vignetting, FallOff, Exposure, HighlightRecovery, HighlightCompression, ShadowLift, LocalContrast,
    Contrast, Chroma, Sharpness,
)  # fmt: skip
_NOISE = (LuminanceNoise, ColourNoise)
# Rebuilding sets in gradually up to so many stops of recovery, so that a ramp may begin at nothing.
_WHOLLY_REBUILT = 0.3


class _Steps:
    """A recipe's operators that are not neutral, found by what they are."""

    def __init__(self, effective: EffectiveRecipe) -> None:
        base = [operator.instance(values) for values in effective.base]
        kept = zip(base, effective.base, strict=True)
        used = [(step, values) for step, values in kept if not operator.is_neutral(values)]
        self._base = {values.name: step for step, values in used}
        early = [(step, values) for step, values in used if not isinstance(step, _LATE)]
        self.noise = frozenset(values for step, values in early if isinstance(step, _NOISE))
        self.early = frozenset(values for _, values in early) - self.noise
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

    def rebuilding(self, decoded: Decoded) -> float:
        """How far clipped channels are rebuilt, 0 to 1."""
        recovery = self.of(HighlightRecovery)
        if recovery is None or decoded.camera is None:
            return 0.0
        return min(1.0, recovery.stops / _WHOLLY_REBUILT)

    def of(self, kind: type[Kind]) -> Kind | None:
        step = self._base.get(kind.declared.name)
        return step if isinstance(step, kind) else None


def render(
    decoded: Decoded,
    effective: EffectiveRecipe,
    pixels: PixelSpec,
    *,
    threads: int = 1,
    dark: MasterDark | None = None,
    kept: KeptPlanes | None = None,
) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """The finished picture: uint8 or uint16, (height, width, 3), sRGB, upright, fitted into the box.

    ``dark`` is the master of the dark frames that the recipe names, if it does. ``kept`` are planes of
    pictures made before, of which this may be one with another tone or colour; the result is the same.

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
        planes, pending = _developed(decoded, effective, pixels, rows, dark, kept)
        kind = np.uint8 if pixels.bits == 8 else np.uint16
        out: npt.NDArray[np.uint8] | npt.NDArray[np.uint16] = np.empty((*planes.shape[1:], 3), kind)
        pending.append((light.fit_colours, (planes,)))
        if pixels.bits == 8:
            pending.append((light.display_dithered, (planes, out)))
        else:
            pending.append((light.display, (planes, curves.display_table(), out)))
        rows.chain(pending, *planes.shape[1:])
    return out


def render_linear(
    decoded: Decoded,
    effective: EffectiveRecipe,
    pixels: PixelSpec,
    *,
    threads: int = 1,
    dark: MasterDark | None = None,
) -> npt.NDArray[np.float32]:
    """The same picture before the display encoding: float32, (height, width, 3), linear sRGB, not clipped."""
    with Rows(threads) as rows:
        planes, pending = _developed(decoded, effective, pixels, rows, dark, None)
        rows.chain(pending, *planes.shape[1:])
    return np.ascontiguousarray(np.moveaxis(planes, 0, -1))


def _developed(
    decoded: Decoded,
    effective: EffectiveRecipe,
    pixels: PixelSpec,
    rows: Rows,
    dark: MasterDark | None,
    kept: KeptPlanes | None,
) -> tuple[Planes, list[Step]]:
    """Planes, and the steps that are still to be done to them."""
    foundation.require(effective.foundation)
    freed.keep()
    steps = _Steps(effective)
    view = _view(decoded, steps, pixels)
    # Scene data is itself, whatever it holds; a master dark is what the recipe names.
    key = ref(decoded), pixels.fit, pixels.even, steps.early, steps.rebuilding(decoded)
    planes, pending = _calm_light(decoded, steps, view, rows, dark, kept, key)
    # Only now: light that has been evened is noisier in the corners.
    pending += _evening(planes, steps, view, rows, kept)
    pending += _to_srgb(planes, decoded, steps.of(Balance), steps.of(Exposure))
    tone = Tone(
        lift=steps.of(ShadowLift), recovery=steps.of(HighlightRecovery),
        compression=steps.of(HighlightCompression), local=steps.of(LocalContrast),
        contrast=steps.of(Contrast), sharpness=steps.of(Sharpness), headroom=_headroom(decoded, steps),
    )  # fmt: skip
    pending = toned(planes, tone, view.frame_diagonal, rows, pending)
    if chroma := steps.of(Chroma):
        pending.append((light.change_chroma, (planes, np.float32(chroma.amount), np.float32(chroma.muted))))
    for step in steps.finish:
        pending = toned(planes, _finishing(step), view.frame_diagonal, rows, pending)
    return planes, pending


def sharpened_radius(
    decoded: Decoded, effective: EffectiveRecipe, pixels: PixelSpec
) -> tuple[float, float] | None:
    """The smallest radius of a recipe's sharpening in pixels of a picture, and of the frame at full size.

    None where nothing is sharpened. Detail of less than a pixel is hardly in a picture.
    """
    steps = _Steps(effective)
    found = [step for step in (steps.of(Sharpness), *steps.finish) if isinstance(step, Sharpness)]
    if not found:
        return None
    view = _view(decoded, steps, pixels)
    here = min(step.radius for step in found) / 1000 * view.frame_diagonal
    return here, here / view.scale


def _view(decoded: Decoded, steps: _Steps, pixels: PixelSpec) -> View:
    height, width = decoded.pixels.shape[:2]
    return framing.view_of(
        width, height, aspect=decoded.aspect, orientation=decoded.orientation,
        straighten=steps.of(Straighten), crop=steps.of(Crop), pixels=pixels, lens=steps.lens,
    )  # fmt: skip


def _finishing(step: Operator) -> Tone:
    return Tone(
        local=step if isinstance(step, LocalContrast) else None,
        contrast=step if isinstance(step, Contrast) else None,
        sharpness=step if isinstance(step, Sharpness) else None,
    )


def _calm_light(
    decoded: Decoded,
    steps: _Steps,
    view: View,
    rows: Rows,
    dark: MasterDark | None,
    kept: KeptPlanes | None,
    key: tuple[ref[Decoded], *tuple[object, ...]],
) -> tuple[Planes, list[Step]]:
    """Balanced camera light of the view without its noise, and the steps that are still to be done to it."""
    if kept is None:
        noisy = _camera_light(decoded, steps, view, rows, dark, measured=bool(steps.noise))
        return noisy[0], _denoising(noisy, decoded, steps, view, rows)
    found = kept.get((key, steps.noise))
    if found is None:
        found = kept.get((key, frozenset()))
        if found is None:
            found = _camera_light(decoded, steps, view, rows, dark, measured=True)
            kept.put((key, frozenset()), found, source=key[0])
        if steps.noise:
            calm = np.empty_like(found[0])
            rows.run(light.copied, calm.shape[1], found[0], calm)
            found = calm, found[1]
            rows.chain(_denoising(found, decoded, steps, view, rows), *found[0].shape[1:])
            kept.put((key, steps.noise), found, kind=key, source=key[0])
    planes = np.empty_like(found[0])
    return planes, [(light.copied, (found[0], planes))]


def _evening(planes: Planes, steps: _Steps, view: View, rows: Rows, kept: KeptPlanes | None) -> list[Step]:
    """Steps that even out how light falls off towards the corners."""
    vignetting, fall_off = steps.of(Vignetting), steps.of(FallOff)
    if not (vignetting or fall_off):
        return []
    kind = steps.lens, view
    key = vignetting, fall_off, kind
    found = kept.get(key) if kept is not None else None
    if found is None:
        gains = np.empty(planes.shape[1:], np.float32)
        step = sampling.evening(gains, view, steps.lens, radial_gains(vignetting, fall_off))
        found = gains, 0.0
        if kept is None:
            return [step, (detail.multiply, (planes, gains))]
        rows.run(step[0], view.rows, *step[1])
        kept.put(key, found, kind)
    return [(detail.multiply, (planes, found[0]))]


def _denoising(found: Light, decoded: Decoded, steps: _Steps, view: View, rows: Rows) -> list[Step]:
    if not steps.noise:
        return []
    luminance, colours = steps.of(LuminanceNoise), steps.of(ColourNoise)
    gains = _gains(decoded, steps.of(Balance))
    return denoise(found[0], luminance, colours, found[1], gains, view.frame_diagonal, rows)


def _camera_light(
    decoded: Decoded, steps: _Steps, view: View, rows: Rows, dark: MasterDark | None, *, measured: bool
) -> Light:
    """Balanced camera light of the view, with its noise; ``measured`` is whether that is to be known."""
    gains = _gains(decoded, steps.of(Balance))
    if named := steps.of(DarkFrame):
        decoded = darkened(decoded, dark, named, rows)
    hot = steps.of(HotPixels)
    noise = sampling.noise_of(decoded, rows) if hot or measured else None
    glowing = (hot.reach, noise) if hot and noise and decoded.is_mosaic else None
    if glowing and not sampling.is_reduced(decoded, view, steps.lens):
        decoded, glowing = _with_pixels(decoded, sampling.cooled(decoded, *glowing, rows)), None
    offset = noise.root_offset if noise else 1e-3
    share = steps.rebuilding(decoded)
    if share == 1:
        return _rebuilt(decoded, steps, view, gains, rows, glowing), offset
    # Without recovery every channel stops where the first one clips, so that clipping is white.
    developed = not decoded.is_mosaic and decoded.camera is None
    ceilings = np.full(3, np.inf) if developed else 1 / gains
    planes = sampling.sampled(decoded, view, steps.lens, ceilings.astype(np.float32), rows, glowing=glowing)
    if np.any(gains != 1):
        rows.run(light.balance, planes.shape[1], planes, gains.astype(np.float32))
    if share:
        planes += np.float32(share) * (_rebuilt(decoded, steps, view, gains, rows, glowing) - planes)
    return planes, offset


def _rebuilt(
    decoded: Decoded,
    steps: _Steps,
    view: View,
    gains: npt.NDArray[np.float64],
    rows: Rows,
    glowing: tuple[float, NoiseModel] | None,
) -> Planes:
    planes = sampling.sampled(decoded, view, steps.lens, np.ones(3, np.float32), rows, glowing=glowing)
    rebuilt(planes, gains.astype(np.float32), rows)
    return planes


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


def _to_srgb(
    planes: Planes, decoded: Decoded, balance: Balance | None, exposure: Exposure | None
) -> list[Step]:
    matrix = np.eye(3)
    if decoded.camera is not None:
        matrix = decoded.camera.to_srgb
    elif balance is not None:
        adapt = colour.bradford(colour.xyz_of(_white(balance)), colour.xyz_of(_PICTURE_WHITE))
        matrix = colour.XYZ_TO_SRGB @ adapt @ colour.SRGB_TO_XYZ
    gain = np.float32(2**exposure.stops if exposure else 1)
    if not np.array_equal(matrix, np.eye(3)):
        return [(light.apply_matrix, (planes, matrix.astype(np.float32) * gain))]
    return [(light.scale, (planes, gain))] if exposure else []


def _headroom(decoded: Decoded, steps: _Steps) -> float:
    """Stops by which the brightest light that the frame can hold lies above white."""
    exposure = steps.of(Exposure)
    most = float(_gains(decoded, steps.of(Balance)).max())
    return math.log2(1 + steps.rebuilding(decoded) * (most - 1)) + (exposure.stops if exposure else 0.0)
