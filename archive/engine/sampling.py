"""Decoded sensor data → upright camera planes of the view's size."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from archive.engine import framing, noisemodel
from archive.engine.decode import Decoded
from archive.engine.framing import View
from archive.engine.kernels import demosaic, hotpixels
from archive.engine.kernels import sampling as kernels
from archive.engine.kernels.rows import Rows
from archive.engine.noisemodel import NoiseModel

Planes = npt.NDArray[np.float32]

# Below this many output pixels per sample a mosaic is averaged straight to output size.
_REDUCED = 0.5
_SMALLEST = 8


def noise_of(decoded: Decoded, rows: Rows) -> NoiseModel:
    """The frame's own noise; a typical one for pictures developed elsewhere."""
    if not decoded.is_mosaic:
        return noisemodel.TYPICAL
    blacks, scales = _levels(decoded)
    mosaic = _counts(decoded)
    if decoded.pattern is not None and decoded.pattern[1] != 1:
        mosaic, blacks, scales = mosaic[:, 1:], blacks[[1, 0, 3, 2]], scales[[1, 0, 3, 2]]
    return noisemodel.measure(mosaic, blacks, scales, rows)


def cooled(decoded: Decoded, reach: float, noise: NoiseModel, rows: Rows) -> npt.NDArray[np.uint16]:
    """The mosaic with single glowing samples replaced."""
    mosaic = _counts(decoded)
    if min(mosaic.shape) < _SMALLEST:
        return mosaic
    span = decoded.white - min(decoded.black)
    # In counts: variance per count and at no light.
    slope, read = noise.gain * span, noise.read * span * span
    out = mosaic.copy()
    rows.run(
        hotpixels.replace, mosaic.shape[0], mosaic, np.float32(min(decoded.black)),
        np.float32(reach), np.float32(slope), np.float32(read), out,
    )  # fmt: skip
    return out


def sampled(
    decoded: Decoded, view: View, ceilings: npt.NDArray[np.float32], noise: NoiseModel | None, rows: Rows
) -> Planes:
    """Upright planes, float32, (3, rows, columns): camera light, black 0, clipping 1; not yet straightened.

    A view that is straightened gets the whole frame at the view's scale. ``ceilings`` hold each channel's
    samples down before they are mixed, which keeps clipped edges free of colour.
    """
    left, top, right, bottom, columns, lines = _part(view)
    stored_height, stored_width = decoded.pixels.shape[:2]
    x0, y0, x1, y1 = framing.on_sensor(left, top, right, bottom, decoded.orientation)
    if decoded.orientation >= 5:
        columns, lines = lines, columns
    across = (x0 * stored_width, (x1 - x0) * stored_width, columns)
    down = (y0 * stored_height, (y1 - y0) * stored_height, lines)
    if not decoded.is_mosaic:
        planes = np.ascontiguousarray(np.moveaxis(decoded.pixels, -1, 0), np.float32)
        planes = np.minimum(planes, ceilings[:, None, None])
        return framing.upright(_resized(planes, across, down, rows), decoded.orientation)
    reduced = across[2] <= across[1] * _REDUCED + 1e-6 and down[2] <= down[1] * _REDUCED + 1e-6
    if reduced or min(stored_width, stored_height) < _SMALLEST:
        planes = _reduced(decoded, ceilings, across, down, rows)
    else:
        planes = _resized(_demosaiced(decoded, ceilings, noise, rows), across, down, rows)
    return framing.upright(planes, decoded.orientation)


def straightened(planes: Planes, view: View, rows: Rows) -> Planes:
    """The view cut from the whole frame's planes, turned."""
    out = np.empty((3, view.rows, view.columns), np.float32)
    cosine, sine = math.cos(view.angle), math.sin(view.angle)
    # The first output pixel's centre, from the frame's centre, in planes' pixels.
    per_column = planes.shape[2] / view.frame_width
    x = (view.left + 0.5 * view.width / view.columns) * per_column
    y = (view.top + 0.5 * view.height / view.rows) * per_column
    origin_x = x * cosine + y * sine + planes.shape[2] / 2 - 0.5
    origin_y = y * cosine - x * sine + planes.shape[1] / 2 - 0.5
    step = view.width / view.columns * per_column
    rows.run(kernels.rotate_planes, view.rows, planes, out, origin_x, origin_y, cosine * step, sine * step)
    return out


Span = tuple[float, float, int]


def _part(view: View) -> tuple[float, float, float, float, int, int]:
    """The sampled rectangle in shares of the upright frame, and its size in output pixels."""
    if view.angle != 0:
        columns = max(1, round(view.frame_width * view.scale))
        lines = max(1, round(view.frame_height * view.scale))
        return 0.0, 0.0, 1.0, 1.0, columns, lines
    left = view.left / view.frame_width + 0.5
    top = view.top / view.frame_height + 0.5
    right, bottom = left + view.width / view.frame_width, top + view.height / view.frame_height
    return left, top, right, bottom, view.columns, view.rows


def _counts(decoded: Decoded) -> npt.NDArray[np.uint16]:
    counts = decoded.pixels
    assert counts.dtype == np.uint16 and counts.ndim == 2
    return counts.astype(np.uint16, copy=False)


def _levels(decoded: Decoded) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    blacks = np.array(decoded.black, np.float32)
    return blacks, (1 / np.maximum(decoded.white - blacks, 1)).astype(np.float32)


def _reduced(
    decoded: Decoded, ceilings: npt.NDArray[np.float32], across: Span, down: Span, rows: Rows
) -> Planes:
    mosaic = _counts(decoded)
    blacks, scales = _levels(decoded)
    channels = np.array(decoded.pattern, np.int32)
    height, width = mosaic.shape
    vertical = [_weights(down, (height - phase + 1) // 2, phase) for phase in (0, 1)]
    horizontal = [_weights(across, (width - phase + 1) // 2, phase) for phase in (0, 1)]
    first_column, column_weights = _stacked(horizontal)
    column_weights = np.ascontiguousarray(column_weights.transpose(0, 2, 1))
    out = np.empty((3, down[2], across[2]), np.float32)
    rows.run(
        kernels.reduce_mosaic, down[2], mosaic, channels, blacks, scales, ceilings[channels] / scales +
        blacks, *_stacked(vertical), first_column, column_weights, out,
    )  # fmt: skip
    return out


def _weights(span: Span, samples: int, phase: int) -> kernels.Weights:
    return kernels.area_weights(span[2], span[0], span[1], max(samples, 1), 2, phase)


def _stacked(pair: list[kernels.Weights]) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.float32]]:
    taps = max(weights.shape[1] for _, weights in pair)
    padded = [np.pad(weights, ((0, 0), (0, taps - weights.shape[1]))) for _, weights in pair]
    return np.stack([first for first, _ in pair]), np.ascontiguousarray(np.stack(padded))


def _demosaiced(
    decoded: Decoded, ceilings: npt.NDArray[np.float32], noise: NoiseModel | None, rows: Rows
) -> Planes:
    mosaic = _counts(decoded)
    blacks, scales = _levels(decoded)
    channels = np.array(decoded.pattern, np.int32)
    height, width = mosaic.shape
    padded = np.empty((height + 8, width + 8), np.float32)
    rows.run(demosaic.normalise, height, mosaic, blacks, scales, ceilings[channels], padded)
    demosaic.mirror(padded)
    greens = np.empty_like(padded)
    variation = np.float32(4 * (noise.read if noise else 1e-8) + 1e-9)
    rows.run(demosaic.green, height + 8, padded, channels, variation, greens)
    out = np.empty((3, height, width), np.float32)
    rows.run(demosaic.colours, height, padded, greens, channels, out)
    return out


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
