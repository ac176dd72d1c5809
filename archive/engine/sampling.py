"""Decoded sensor data → upright camera planes of the view's size."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine import framing, geometry, noisemodel
from archive.engine.decode import Decoded
from archive.engine.framing import View
from archive.engine.kernels import demosaic, hotpixels, warp
from archive.engine.kernels import sampling as kernels
from archive.engine.kernels.rows import Rows, Step
from archive.engine.lensmodel import LensModel
from archive.engine.noisemodel import NoiseModel

Planes = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float32]
Counts = npt.NDArray[np.uint16]

# Below this many output pixels per sample a mosaic is averaged straight to output size.
_REDUCED = 0.5
_SMALLEST = 8
# Differences of neighbours below this (variance) do not tell in which direction a line runs.
_VARIATION = np.float32(4.1e-8)


def noise_of(decoded: Decoded, rows: Rows) -> NoiseModel:
    """The frame's noise: what its file tells where interpolation hides it; typical for other pictures."""
    told = NoiseModel(gain=decoded.noise[0], read=decoded.noise[1]) if decoded.noise else None
    if not decoded.is_mosaic:
        return told or noisemodel.expected(decoded.iso)
    blacks, scales = _levels(decoded)
    mosaic = _counts(decoded)
    if decoded.pattern is not None and decoded.pattern[1] != 1:
        mosaic, blacks, scales = mosaic[:, 1:], blacks[[1, 0, 3, 2]], scales[[1, 0, 3, 2]]
    return noisemodel.measure(mosaic, blacks, scales, rows, told=told, iso=decoded.iso)


def cooled(decoded: Decoded, reach: float, noise: NoiseModel, rows: Rows) -> npt.NDArray[np.uint16]:
    """The mosaic with single glowing samples replaced."""
    mosaic = _counts(decoded)
    if min(mosaic.shape) < _SMALLEST:
        return mosaic
    out = np.empty_like(mosaic)
    rows.run(hotpixels.replace, mosaic.shape[0], mosaic, *_glowing(decoded, reach, noise), out)
    return out


def _glowing(decoded: Decoded, reach: float, noise: NoiseModel) -> tuple[Any, ...]:
    """Blacks, reach, and in counts the variance per count and at no light."""
    span = decoded.white - min(decoded.black)
    values = reach, noise.gain * span, noise.read * span * span
    return np.array(decoded.black, np.float32), *map(np.float32, values)


def sampled(
    decoded: Decoded,
    view: View,
    lens: LensModel,
    ceilings: npt.NDArray[np.float32],
    rows: Rows,
    *,
    glowing: tuple[float, NoiseModel] | None = None,
) -> Planes:
    """Upright planes of the view, float32, (3, rows, columns): camera light, black 0, clipping 1.

    Whatever moves pixels, crop, size, straightening and lens, is done in this one resampling. ``ceilings``
    hold each channel's samples down before they are mixed, which keeps clipped edges free of colour.
    ``glowing`` is, where ``is_reduced``, how far samples that glow stand out of which noise.
    """
    if view.angle != 0 or lens.bends:
        return framing.upright(_warped(decoded, view, lens, ceilings, rows), decoded.orientation)
    across, down = _spans(decoded, view)
    if is_reduced(decoded, view, lens):
        planes = _reduced(decoded, ceilings, across, down, rows, glowing)
    else:
        planes = _resized(_whole(decoded, ceilings, rows), across, down, rows)
    return framing.upright(planes, decoded.orientation)


def is_reduced(decoded: Decoded, view: View, lens: LensModel) -> bool:
    """Whether a view is averaged straight from a mosaic, with nothing between its samples made up."""
    if not decoded.is_mosaic or view.angle != 0 or lens.bends:
        return False
    across, down = _spans(decoded, view)
    small = min(decoded.pixels.shape[:2]) < _SMALLEST
    return small or all(span[2] <= span[1] * _REDUCED + 1e-6 for span in (across, down))


def _spans(decoded: Decoded, view: View) -> tuple[Span, Span]:
    """Where a straight view begins on the sensor, how long it is, and of how many pixels: across and down."""
    stored_height, stored_width = decoded.pixels.shape[:2]
    left = view.left / view.frame_width + 0.5
    top = view.top / view.frame_height + 0.5
    right, bottom = left + view.width / view.frame_width, top + view.height / view.frame_height
    x0, y0, x1, y1 = framing.on_sensor(left, top, right, bottom, decoded.orientation)
    columns, lines = view.columns, view.rows
    if decoded.orientation in framing.TRANSPOSED:
        columns, lines = lines, columns
    across = (x0 * stored_width, (x1 - x0) * stored_width, columns)
    return across, (y0 * stored_height, (y1 - y0) * stored_height, lines)


def _whole(decoded: Decoded, ceilings: npt.NDArray[np.float32], rows: Rows) -> Planes:
    """All three colours at every sample, as the sensor lies."""
    if decoded.is_mosaic:
        return _demosaiced(decoded, ceilings, rows)
    planes = np.array(np.moveaxis(decoded.pixels, -1, 0), np.float32, order="C")
    return np.minimum(planes, ceilings[:, None, None], out=planes)


def _warped(
    decoded: Decoded,
    view: View,
    lens: LensModel,
    ceilings: npt.NDArray[np.float32],
    rows: Rows,
) -> Planes:
    """The view along its curved map, as the sensor lies."""
    height, width = decoded.pixels.shape[:2]
    places = geometry.knots(view, lens, decoded.orientation, width, height)
    sides = (view.frame_width, view.frame_height)
    frame_width, frame_height = sides[::-1] if decoded.orientation in framing.TRANSPOSED else sides
    across, down = width / frame_width / view.scale, height / frame_height / view.scale
    out = np.zeros((3, places.rows, places.columns), np.float32)
    direct = min(across, down) >= 1 / _REDUCED - 1e-6 and min(width, height) >= _SMALLEST
    if decoded.is_mosaic and direct:
        _warp_mosaic(decoded, places, (across, down), ceilings, out, rows)
        return out
    whole = _whole(decoded, ceilings, rows)
    together = 3 if len(places.x) == 1 else 1
    for channel in range(0, 3, together):
        part = slice(channel, channel + together)
        _warp_planes(whole[part], places.of(channel), (0.5, 0.5), 1.0, (across, down), 1.0, out[part], rows)
    return out


def _warp_mosaic(
    decoded: Decoded,
    places: geometry.Knots,
    spans: tuple[float, float],
    ceilings: npt.NDArray[np.float32],
    out: Planes,
    rows: Rows,
) -> None:
    """Each of the four places of the pattern is a plane of its own, half as fine."""
    mosaic = _counts(decoded)
    blacks, scales = _levels(decoded)
    assert decoded.pattern is not None
    for place, channel in enumerate(decoded.pattern):
        row, column = divmod(place, 2)
        shape = ((mosaic.shape[0] - row + 1) // 2, (mosaic.shape[1] - column + 1) // 2)
        plane = np.empty(shape, np.float32)
        levels = blacks[place], scales[place], ceilings[channel]
        rows.run(warp.lattice, shape[0], mosaic, row, column, *levels, plane)
        share = 0.5 if channel == 1 else 1.0
        corner = (column + 0.5, row + 0.5)
        into = out[channel : channel + 1]
        _warp_planes(plane[None], places.of(channel), corner, 2.0, spans, share, into, rows)


def _warp_planes(
    planes: Planes,
    places: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
    corner: tuple[float, float],
    pitch: float,
    spans: tuple[float, float],
    share: float,
    out: Planes,
    rows: Rows,
) -> None:
    """Add planes whose first sample lies at ``corner`` and whose samples are ``pitch`` apart."""
    x, y = (places[0] - corner[0]) / pitch, (places[1] - corner[1]) / pitch
    across, down = (np.float32(span / pitch if span / pitch > 1 + 1e-6 else 0.0) for span in spans)
    height = out.shape[1]
    rows.run(warp.warp, height, planes, x, y, geometry.STEP, across, down, np.float32(share), out)


def evening(gains: Floats, view: View, lens: LensModel, table: Floats) -> Step:
    """Finds upright pixels' gains from those for squared distances on the sensor, 1 in the frame's corner.

    gains : float32, (rows, columns) of the view.
    """
    places = geometry.knots(view, lens, 1, 1, 1)
    half = math.hypot(view.frame_width, view.frame_height) / 2
    x, y = places.of(1)
    return warp.gains_by_distance, (
        table, (x - 0.5) * view.frame_width / half, (y - 0.5) * view.frame_height / half, geometry.STEP,
        gains,
    )  # fmt: skip


Span = tuple[float, float, int]


def _counts(decoded: Decoded) -> Counts:
    counts = decoded.pixels
    assert counts.dtype == np.uint16 and counts.ndim == 2
    return counts.astype(np.uint16, copy=False)


def _levels(decoded: Decoded) -> tuple[Floats, Floats]:
    blacks = np.array(decoded.black, np.float32)
    return blacks, (1 / np.maximum(decoded.white - blacks, 1)).astype(np.float32)


def _reduced(
    decoded: Decoded,
    ceilings: npt.NDArray[np.float32],
    across: Span,
    down: Span,
    rows: Rows,
    glowing: tuple[float, NoiseModel] | None,
) -> Planes:
    mosaic, blacks, scales = _every_place(decoded)
    channels = np.array(decoded.pattern, np.int32)
    height, width = mosaic.shape
    vertical = [_weights(down, (height - phase + 1) // 2, phase) for phase in (0, 1)]
    horizontal = [_weights(across, (width - phase + 1) // 2, phase) for phase in (0, 1)]
    first_column, column_weights = _stacked(horizontal)
    column_weights = np.ascontiguousarray(column_weights.transpose(0, 2, 1))
    out = np.empty((3, down[2], across[2]), np.float32)
    tables = *_stacked(vertical), first_column, column_weights
    levels = channels, blacks, scales, ceilings[channels] / scales + blacks
    if glowing and min(mosaic.shape) >= _SMALLEST:
        how = _glowing(decoded, *glowing)
        rows.run(kernels.reduce_cooled, down[2], mosaic, how, levels, tables, out)
    else:
        rows.run(kernels.reduce_mosaic, down[2], mosaic, levels, tables, out)
    return out


def _every_place(decoded: Decoded) -> tuple[Counts, Floats, Floats]:
    """A mosaic, its blacks and scales, with samples at all four places.

    A lone row or column has another beside it, which holds its greens: the colour that is missing is then as
    bright as they are.
    """
    mosaic, levels = _counts(decoded), np.stack(_levels(decoded))
    assert decoded.pattern is not None
    if mosaic.shape[0] < 2:
        mosaic, levels = _doubled(mosaic, levels, decoded.pattern[1] == 1)
    if mosaic.shape[1] < 2:
        turned, levels = _doubled(mosaic.T, levels[:, [0, 2, 1, 3]], decoded.pattern[2] == 1)
        mosaic, levels = turned.T, levels[:, [0, 2, 1, 3]]
    return np.ascontiguousarray(mosaic), levels[0], levels[1]


def _doubled(lines: Counts, levels: Floats, second_is_green: bool) -> tuple[Counts, Floats]:
    width = lines.shape[1]
    green = int(second_is_green and width > 1)
    nearest = np.minimum(np.arange(width) // 2 * 2 + green, (width - 1 - green) // 2 * 2 + green)
    return np.stack([lines[0], lines[0][nearest]]), levels[:, [0, 1, green, green]]


@lru_cache(maxsize=16)
def _weights(span: Span, samples: int, phase: int) -> kernels.Weights:
    """Weights of a mosaic's even or odd places: the frames of a sequence share them."""
    return kernels.area_weights(span[2], span[0], span[1], samples, 2, phase)


def _stacked(pair: list[kernels.Weights]) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.float32]]:
    taps = max(weights.shape[1] for _, weights in pair)
    padded = [np.pad(weights, ((0, 0), (0, taps - weights.shape[1]))) for _, weights in pair]
    return np.stack([first for first, _ in pair]), np.ascontiguousarray(np.stack(padded))


def _demosaiced(decoded: Decoded, ceilings: npt.NDArray[np.float32], rows: Rows) -> Planes:
    mosaic, blacks, scales = _every_place(decoded)
    channels = np.array(decoded.pattern, np.int32)
    height, width = mosaic.shape
    weights = _near_balance(decoded)
    padded = np.empty((height + 8, width + 8), np.float32)
    rows.run(
        demosaic.normalise, height, mosaic, blacks, scales * weights[channels],
        (ceilings * weights)[channels], padded,
    )  # fmt: skip
    demosaic.mirror(padded)
    greens = np.empty_like(padded)
    rows.run(demosaic.green, height + 8, padded, channels, _VARIATION, greens)
    out = np.empty((3, height, width), np.float32)
    rows.run(demosaic.colours, height, padded, greens, channels, 1 / weights, out)
    return np.ascontiguousarray(out[:, : decoded.pixels.shape[0], : decoded.pixels.shape[1]])


def _near_balance(decoded: Decoded) -> Floats:
    """By how much red and blue are made as strong as green in daylight, whatever balance a recipe has."""
    if decoded.camera is None:
        return np.ones(3, np.float32)
    return np.asarray(decoded.camera.daylight / decoded.camera.daylight[1], np.float32)


def _resized(planes: Planes, across: Span, down: Span, rows: Rows) -> Planes:
    if all(abs(span[1] - span[2]) < 1e-6 and abs(span[0] - round(span[0])) < 1e-6 for span in (across, down)):
        x, y = round(across[0]), round(down[0])
        return np.ascontiguousarray(planes[:, y : y + down[2], x : x + across[2]])
    vertical = kernels.area_weights(down[2], down[0], down[1], planes.shape[1], 1, 0)
    horizontal = kernels.area_weights(across[2], across[0], across[1], planes.shape[2], 1, 0)
    out = np.empty((3, down[2], across[2]), np.float32)
    across_weights = np.ascontiguousarray(horizontal[1].T)
    rows.run(kernels.reduce_planes, down[2], planes, *vertical, horizontal[0], across_weights, out)
    return out
