"""A whole picture by plain passes: scene data of an upright frame and a recipe → linear sRGB."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from support.plain import clipping, colour, framing, light, mosaic, noise
from support.plain.planes import Floats
from support.plain.sampling import sampled
from support.plain.tone import toned

from archive.engine import operator
from archive.engine.declaration import Operator
from archive.engine.decode import Decoded
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
from archive.engine.tone import Tone
from archive.model.recipe import EffectiveRecipe

Kind = TypeVar("Kind", bound=Operator)


class Steps:
    """A recipe's operators that do something."""

    def __init__(self, effective: EffectiveRecipe) -> None:
        self.base = [operator.instance(each) for each in effective.base if not operator.is_neutral(each)]
        self.finish = [operator.instance(each) for each in effective.finish if not operator.is_neutral(each)]

    def of(self, kind: type[Kind]) -> Kind | None:
        return next((step for step in self.base if isinstance(step, kind)), None)


def developed(
    decoded: Decoded,
    effective: EffectiveRecipe,
    fit: tuple[int, int] | None,
    dark: npt.NDArray[np.float32] | None = None,
) -> Floats:
    """Linear sRGB, (height, width, 3), not clipped. dark : counts above black of a master dark."""
    steps = Steps(effective)
    lens = framing.Lens(distortion=steps.of(Distortion), lateral=steps.of(LateralColour))
    height, width = decoded.pixels.shape[:2]
    view = framing.shown(width, height, fit, steps.of(Straighten), steps.of(Crop), lens)
    balance, exposure = steps.of(Balance), steps.of(Exposure)
    gains = colour.multipliers(decoded.camera, balance)
    planes, headroom = balanced(decoded, steps, view, lens, gains, dark)
    calm = steps.of(LuminanceNoise), steps.of(ColourNoise)
    planes = noise.calmed(planes, *calm, noise.model(decoded), gains, view.diagonal)
    planes = planes * framing.evened(view, lens, steps.of(Vignetting), steps.of(FallOff))
    stops = exposure.stops if exposure else 0.0
    planes = np.tensordot(colour.to_srgb(decoded.camera, balance) * 2**stops, planes, axes=1)
    tone = Tone(
        lift=steps.of(ShadowLift), recovery=steps.of(HighlightRecovery),
        compression=steps.of(HighlightCompression), local=steps.of(LocalContrast),
        contrast=steps.of(Contrast), sharpness=steps.of(Sharpness), headroom=headroom + stops,
    )  # fmt: skip
    planes = toned(planes, tone, view.diagonal)
    if chroma := steps.of(Chroma):
        planes = light.coloured(planes, chroma.amount, chroma.muted)
    for step in steps.finish:
        kinds = {"local": LocalContrast, "contrast": Contrast, "sharpness": Sharpness}
        again = {name: step for name, kind in kinds.items() if isinstance(step, kind)}
        planes = toned(planes, Tone(**again), view.diagonal)
    return np.moveaxis(planes, 0, -1)


def balanced(
    decoded: Decoded,
    steps: Steps,
    view: framing.Shown,
    lens: framing.Lens,
    gains: Floats,
    dark: npt.NDArray[np.float32] | None,
) -> tuple[Floats, float]:
    """Balanced camera light of the view, and how many stops above white its brightest may lie."""
    counts = decoded.pixels
    if (step := steps.of(DarkFrame)) and dark is not None:
        counts = mosaic.darkened(counts, dark, step.share, decoded.white)
    if (hot := steps.of(HotPixels)) and decoded.pattern and min(counts.shape) >= 8:
        gain, read = noise.model(decoded)
        span = decoded.white - min(decoded.black)
        counts = mosaic.cooled(counts, decoded.black, hot.reach, gain * span, read * span**2)
    recovery = steps.of(HighlightRecovery)
    share = min(1.0, recovery.stops / 0.3) if recovery and decoded.camera else 0.0
    # Without recovery all channels stop where the first of them clips, so that clipping is white.
    developed_already = decoded.pattern is None and decoded.camera is None
    ceilings = np.full(3, np.inf) if developed_already else 1 / gains
    plain = sampled(decoded, counts, view, lens, ceilings) * gains[:, None, None]
    headroom = math.log2(1 + share * (gains.max() - 1))
    if not share:
        return plain, headroom
    whole = clipping.balanced_and_rebuilt(sampled(decoded, counts, view, lens, np.ones(3)), gains)
    return plain + share * (whole - plain), headroom
