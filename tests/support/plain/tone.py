"""Tone by surroundings and by pixel, local contrast and sharpness."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from support.plain import curves
from support.plain.light import luminance
from support.plain.planes import Floats, blurred, finest_noise, grown, guided, halved, smoothstep

from archive.engine.operators.sharpness import Sharpness
from archive.engine.tone import Tone


def stops(roots: Floats) -> Floats:
    return np.asarray(np.maximum(2 * np.log2(np.maximum(roots, 3e-5)), -13))


def toned(planes: npt.NDArray[Any], tone: Tone, diagonal: float) -> Floats:
    """The tone pass of one picture, float64, (3, height, width)."""
    roots = np.sqrt(np.maximum(luminance(planes), 0))
    slope = offset = regional = curve = None
    if tone.lift or tone.recovery or tone.compression:
        regional = curves.regional(tone.lift, tone.recovery, tone.compression, tone.headroom)
    if regional is not None or tone.local:
        slope, offset = surroundings(roots, diagonal)
    if tone.contrast:
        curve = curves.contrasted(tone.contrast)
    amount = tone.local.amount if tone.local else 0.0
    gains = 2 ** added(stops(roots), slope, offset, regional, amount, curve)
    if tone.sharpness:
        gains = gains * sharper(tone.sharpness, roots, diagonal)
    return planes * gains


def added(
    own: Floats,
    slope: Floats | None,
    offset: Floats | None,
    regional: Floats | None,
    local: float,
    curve: Floats | None,
) -> Floats:
    """Stops added to a picture of ``own`` stops, whose surroundings are slope · own + offset.

    regional, curve : by the tone of surroundings and by a pixel's own, as that leaves it; see ``curves``.
    """
    made = np.zeros_like(own)
    if slope is not None and offset is not None:
        around = slope * own + offset
        if regional is not None:
            made += curves.looked_up(regional, around)
        apart = own - around
        texture = apart / (1 + np.abs(apart) / 1.5) * np.maximum(1 - slope**2, 0)
        made += local * texture * smoothstep(around, -12, -8)
    if curve is not None:
        made += curves.looked_up(curve, own + made)
    return made


def surroundings(roots: Floats, diagonal: float) -> tuple[Floats, Floats]:
    """Slope and offset by which the stops of surroundings follow a pixel's own."""
    radius = max(1.0, 12 / 1000 * diagonal)
    halvings = max(0, math.floor(math.log2(radius / 5)))
    small = stops(halved(roots) if halvings else roots)
    for _ in range(halvings - 1):
        small = halved(small)
    slope, offset = guided(small, small, max(1, round(radius / 2**halvings)), 0.35)
    return grown(slope, halvings, roots.shape), grown(offset, halvings, roots.shape)


def sharper(step: Sharpness, roots: Floats, diagonal: float) -> Floats:
    """Gains of light by which fine detail grows; none where it is too fine for the picture."""
    sigma = step.radius / 1000 * diagonal / 2
    if sigma < 0.3:
        return np.ones_like(roots)
    return sharpened(roots, blurred(roots, sigma), step.amount, step.floor * finest_noise(roots))


def sharpened(roots: Floats, smooth: Floats, amount: float, floor: float) -> Floats:
    apart = roots - smooth
    size = np.maximum(np.abs(apart) - floor, 0)
    more = amount * size / (1 + size / 0.12) * np.where(apart > 0, 1, -0.6)
    lit = np.maximum(roots, 0.004)
    return np.asarray(np.clip((lit + more) / lit, 0.25, 3) ** 2)
