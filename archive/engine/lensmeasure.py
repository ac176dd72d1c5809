"""A lens's fall-off of light, measured from frames of an even surface."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine.decode import Decoded
from archive.errors import ArchiveError
from archive.model.lens import FallOffMeasure

Floats = npt.NDArray[np.float64]

_BLOCK = 16
_CLIPPED, _DIM, _UNEVEN = 0.98, 0.02, 0.05
_ROUNDS, _STRAY = 3, 4.0
_LEAST = 24


def measure_fall_off(frames: Iterable[Decoded]) -> FallOffMeasure:
    """The fall-off that even frames agree in.

    Each frame's light is taken as 1 + k1·r² + k2·r⁴ + k3·r⁶ times its own brightness, and a slope across it:
    no surface is lit quite evenly. Blocks that stand out, as dust does, are left out.

    Raises
    ------
    ArchiveError : there is no frame, one is clipped, too dark or no raw, or what is left is not even.
    """
    shapes, lights, squares, count = [], [], [], 0
    for frame in frames:
        light, x, y = _blocks(frame)
        middle = float(np.median(light))
        shapes.append(np.stack([x, y], axis=1))
        lights.append(light / middle)
        squares.append(x**2 + y**2)
        count += 1
    if count == 0:
        raise _unusable("no frame was given")
    squared, light = np.concatenate(squares), np.concatenate(lights)
    slopes = np.zeros((squared.size, 2 * count))
    start = 0
    for index, shape in enumerate(shapes):
        slopes[start : start + len(shape), 2 * index : 2 * index + 2] = shape
        start += len(shape)
    powers = np.stack([np.ones_like(squared), squared, squared**2, squared**3], axis=1)
    terms, kept = _fitted(np.concatenate([powers, slopes], axis=1), light)
    k = np.round(terms[1:4] / terms[0], 4)
    left = light / terms[0] - slopes @ terms[4:] / terms[0]
    model = 1 + k[0] * squared + k[1] * squared**2 + k[2] * squared**3
    remains = float(np.sqrt(np.mean((left[kept] / model[kept] - 1) ** 2)))
    if remains > _UNEVEN:
        raise _unusable(f"{remains:.1%} of unevenness is left that no lens makes")
    return FallOffMeasure(
        values={"k1": float(k[0]), "k2": float(k[1]), "k3": float(k[2])},
        frames=count, left=round(remains, 5), corner=round(float(1 + k.sum()), 4),
    )  # fmt: skip


def _fitted(columns: Floats, light: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Least squares without what strays, and which blocks were kept."""
    kept = np.ones(light.size, bool)
    terms: Any = np.zeros(columns.shape[1])
    for _ in range(_ROUNDS):
        terms = np.linalg.lstsq(columns[kept], light[kept], rcond=None)[0]
        left = np.abs(light - columns @ terms)
        spread = 1.4826 * float(np.median(left)) + 1e-9
        kept = left < _STRAY * spread
    return terms, kept


def _blocks(frame: Decoded) -> tuple[Floats, Floats, Floats]:
    """Mean green light of blocks of samples, and where they lie, in half diagonals from the centre."""
    if frame.pattern is None:
        raise _unusable("a frame is no raw mosaic")
    height, width = frame.pixels.shape[:2]
    down, across = height // _BLOCK, width // _BLOCK
    if down * across < _LEAST:
        raise _unusable("a frame is too small")
    greens = [place for place, channel in enumerate(frame.pattern) if channel == 1]
    light: Floats = np.zeros((down, across), np.float64)
    for place in greens:
        row, column = divmod(place, 2)
        samples = frame.pixels[row::2, column::2][: down * _BLOCK // 2, : across * _BLOCK // 2]
        part = samples.reshape(down, _BLOCK // 2, across, _BLOCK // 2).mean(axis=(1, 3), dtype=np.float64)
        black = frame.black[place]
        light += (part - black) / (frame.white - black) / len(greens)
    if float(np.quantile(light, 0.99)) > _CLIPPED:
        raise _unusable("a frame is clipped: expose it less")
    if float(np.median(light)) < _DIM:
        raise _unusable("a frame is too dark: expose it more")
    half = np.hypot(width, height) / 2
    y, x = np.mgrid[0:down, 0:across]
    x = ((x + 0.5) * _BLOCK - width / 2) / half
    y = ((y + 0.5) * _BLOCK - height / 2) / half
    return light.ravel(), x.ravel(), y.ravel()


def _unusable(why: str) -> ArchiveError:
    return ArchiveError(
        f"The fall-off cannot be measured from these frames: {why}.",
        hint="Nothing was changed. Take a few raw frames of an evenly lit, blank surface, out of focus, "
        "about half way to clipping.",
    )
