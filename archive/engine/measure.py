"""What a frame's pixels say before any recipe: light in cells, clipping, darkness, sharp stars, outline."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine import framing, likeness
from archive.engine.decode import Decoded
from archive.model.survey import CELLS, Cells, Measures

Floats = npt.NDArray[np.float32]
Picture = npt.NDArray[np.uint8]

_CLIPPED = 0.995
_DARKEST = -16.0
_DARK = 2.0**-11
_BLOCK = 8
_PATCH = 1024
_FEWEST, _MOST_STARS = 12, 100
_SIGNIFICANT = 12.0
_SINGLE = 0.92


def measure(decoded: Decoded, preview: Picture) -> Measures:
    """The measures of one frame, method 3.

    Parameters
    ----------
    preview : uint8, (height, width, 3), sRGB, upright.
    """
    planes = _planes(decoded)
    clipped = _clipped_share(decoded)
    gains = decoded.camera.daylight if decoded.camera is not None else np.ones(3)
    across, down = outline(preview)
    return Measures(
        brightness=float(np.log2(max(float(planes[1].mean(dtype=np.float64)), 2.0**_DARKEST))),
        clipped=clipped,
        dark=float((_blocks(planes[1]) < _DARK).mean()),
        sharpness=sharpness(planes[1]),
        cells=_cells(planes, gains, decoded.orientation),
        across=across,
        down=down,
        likeness=likeness.print_of(preview),
    )


def _planes(decoded: Decoded) -> tuple[Floats, Floats, Floats]:
    """Red, green and blue light, float32, 1.0 = clipping; of a mosaic at half its size, its first green."""
    if decoded.pattern is None:
        light = np.asarray(decoded.pixels, np.float32)
        return light[:, :, 0], light[:, :, 1], light[:, :, 2]
    found: dict[int, Floats] = {}
    for place, channel in enumerate(decoded.pattern):
        if channel in found:
            continue
        black = decoded.black[place]
        part = decoded.pixels[place // 2 :: 2, place % 2 :: 2]
        found[channel] = (part.astype(np.float32) - np.float32(black)) / np.float32(decoded.white - black)
    return found[0], found[1], found[2]


def _clipped_share(decoded: Decoded) -> float:
    if decoded.pattern is None:
        return float((np.asarray(decoded.pixels).max(axis=2) >= _CLIPPED).mean())
    black = min(decoded.black)
    return float((decoded.pixels >= black + _CLIPPED * (decoded.white - black)).mean())


def _blocks(plane: Floats) -> Floats:
    """Means of small square blocks; what does not fill one at the far edges is left out."""
    height, width = plane.shape
    size = max(1, min(_BLOCK, height // 16, width // 16))
    rows, columns = height // size, width // size
    cut = plane[: rows * size, : columns * size]
    return np.asarray(cut.reshape(rows, size, columns, size).mean(axis=(1, 3)), np.float32)


def _cells(planes: tuple[Floats, Floats, Floats], gains: Any, orientation: int) -> Cells:
    height, width = planes[0].shape
    columns, rows = CELLS if width >= height else CELLS[::-1]
    means = np.stack(
        [_cell_means(plane, rows, columns) * gain for plane, gain in zip(planes, gains, strict=True)]
    )
    upright = framing.upright(np.ascontiguousarray(means, np.float32), orientation)
    red, green, blue = (tuple(float(value) for value in plane.ravel()) for plane in upright)
    return Cells(columns=upright.shape[2], rows=upright.shape[1], red=red, green=green, blue=blue)


def _cell_means(plane: Floats, rows: int, columns: int) -> npt.NDArray[np.float64]:
    """Means over cells of nearly equal size; of a plane with fewer samples than cells some stand for two."""
    height, width = plane.shape
    lines = np.add.reduceat(plane, _starts(height, rows), axis=0, dtype=np.float64)
    sums = np.add.reduceat(lines, _starts(width, columns), axis=1)
    return np.asarray(sums / _sizes(height, rows)[:, None] / _sizes(width, columns)[None, :])


def _starts(length: int, count: int) -> npt.NDArray[np.intp]:
    return np.minimum(np.round(np.arange(count) * length / count).astype(np.intp), length - 1)


def _sizes(length: int, count: int) -> npt.NDArray[np.intp]:
    return np.maximum(np.diff(np.append(_starts(length, count), length)), 1)


def sharpness(plane: Floats) -> float | None:
    """How much of a star's light is in its middle sample: the median of the 12 to 100 brightest stars.

    Dew and lost focus spread it. Read in the middle of the plane; single glowing samples and clipped
    stars are passed over. None where there are too few stars.
    """
    height, width = plane.shape
    top, left = max(0, (height - _PATCH) // 2), max(0, (width - _PATCH) // 2)
    patch = np.asarray(plane[top : top + _PATCH, left : left + _PATCH], np.float32)
    if min(patch.shape) < 24:
        return None
    inner, outer = _boxed(patch, 2), _boxed(patch, 4)
    middle = patch[4:-4, 4:-4]
    inner = inner[2:-2, 2:-2]
    around = (outer - inner) / (81 - 25)
    flux = inner - 25 * around
    # Robust spread of what has no star in it.
    spread = float(np.median(np.abs(flux - np.median(flux)))) * 1.4826
    highest = _highest_around(middle.astype(np.float64))
    kept = (middle == highest) & (flux > _SIGNIFICANT * max(spread, 1e-7)) & (middle < 0.95)
    places = np.flatnonzero(kept)
    share = (middle - around).ravel()[places] / flux.ravel()[places]
    fluxes = flux.ravel()[places]
    usable = (share > 0) & (share < _SINGLE)
    order = np.argsort(fluxes[usable], kind="stable")[::-1][:_MOST_STARS]
    if len(order) < _FEWEST:
        return None
    return float(min(1.0, np.median(share[usable][order])))


def _boxed(plane: Floats, reach: int) -> npt.NDArray[np.float64]:
    """Sums over squares of 2·reach + 1; the edges are cut off."""
    size = 2 * reach + 1
    sums = np.zeros((plane.shape[0] + 1, plane.shape[1] + 1))
    np.cumsum(np.cumsum(plane, axis=0, dtype=np.float64), axis=1, out=sums[1:, 1:])
    return np.asarray(sums[size:, size:] - sums[:-size, size:] - sums[size:, :-size] + sums[:-size, :-size])


def _highest_around(plane: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The highest value within two samples of each."""
    out = plane.copy()
    for axis in (0, 1):
        moved = np.moveaxis(out, axis, 0)
        highest = moved.copy()
        for step in (1, 2):
            np.maximum(highest[step:], moved[:-step], out=highest[step:])
            np.maximum(highest[:-step], moved[step:], out=highest[:-step])
        out = np.moveaxis(highest, 0, axis)
    return out


def outline(preview: Picture) -> tuple[bytes, bytes]:
    """Where edges are, by column and by row: a byte each, at half the preview's size, 255 the strongest."""
    light = np.sqrt(likeness.luminance(preview))
    height, width = light.shape[0] // 2 * 2, light.shape[1] // 2 * 2
    small = light[:height, :width].reshape(height // 2, 2, width // 2, 2).mean(axis=(1, 3))
    return _profile(small, 1), _profile(small, 0)


def _profile(light: npt.NDArray[np.float64], axis: int) -> bytes:
    moved = np.moveaxis(light, axis, 0)
    steps = np.zeros(moved.shape[0])
    if moved.shape[0] > 2:
        steps[1:-1] = np.abs(moved[2:] - moved[:-2]).mean(axis=1)
    return (steps * (255 / max(float(steps.max()), 1e-9))).round().astype(np.uint8).tobytes()


def shift(before: bytes, after: bytes) -> float:
    """By how many preview pixels edges moved from one profile to the next; positive is right or down."""
    size = min(len(before), len(after))
    if size < 16:
        return 0.0
    first, second = (_flattened(np.frombuffer(each, np.uint8)[:size]) for each in (before, after))
    reach = size // 4
    lags = np.arange(-reach, reach + 1)
    # Correlation of what overlaps only, so that nothing wraps around the edge.
    products = np.correlate(second, first, mode="full")[size - 1 - reach : size + reach]
    energy = [np.concatenate([[0.0], np.cumsum(each * each)]) for each in (first, second)]
    low, high = np.maximum(lags, 0), size + np.minimum(lags, 0)
    norms = (energy[0][high - lags] - energy[0][low - lags]) * (energy[1][high] - energy[1][low])
    scores = np.where(norms > 0, products / np.sqrt(np.maximum(norms, 1e-12)), 0.0)
    best = int(scores.argmax())
    if scores[best] <= 0:
        return 0.0
    part = 0.0
    if 0 < best < len(scores) - 1:
        left, middle, right = scores[best - 1 : best + 2]
        curve = left - 2 * middle + right
        part = float(0.5 * (left - right) / curve) if curve < 0 else 0.0
    return 2.0 * (best - reach + part)


def _flattened(profile: npt.NDArray[np.uint8]) -> npt.NDArray[np.float64]:
    values = profile.astype(np.float64)
    width = max(3, len(values) // 24 * 2 + 1)
    smooth = np.convolve(np.pad(values, width // 2, mode="edge"), np.full(width, 1 / width), mode="valid")
    return values - smooth
