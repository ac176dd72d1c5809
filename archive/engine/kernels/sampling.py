"""Mosaic or picture → output-size planes by area averaging, each colour at its true place.

Weights come in as tables made by ``area_weights``: for every output sample the first source sample and a
fixed number of weights.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.compiled import kernel

Weights = tuple[npt.NDArray[np.int32], npt.NDArray[np.float32]]

_HALF = np.float32(0.5)


def area_weights(count: int, start: float, length: float, samples: int, pitch: int, phase: int) -> Weights:
    """Which source samples an output sample averages, and how much of each.

    Parameters
    ----------
    count : output samples over the source interval from ``start`` of ``length`` (source pixels).
    samples, pitch, phase : the source has ``samples`` samples, centred at ``pitch * i + phase + 0.5``.

    Returns
    -------
    first : int32, (count,), index i of the first sample used.
    weights : float32, (count, taps); each row sums to 1 and its centre of gravity is the output sample's centre
        wherever the source reaches, so that colours of a mosaic keep their places.
    """
    step = length / count
    reach = max(step, float(pitch))
    taps = min(samples, int(np.ceil(reach / pitch)) + 1)
    centres = start + (np.arange(count) + 0.5) * step
    first = np.ceil((centres - (reach + pitch) / 2 - phase - 0.5) / pitch).astype(np.int64)
    first = np.clip(first, 0, samples - taps)
    places = (first[:, None] + np.arange(taps)) * pitch + phase + 0.5
    offsets = places - centres[:, None]
    overlap = np.minimum(offsets + pitch / 2, reach / 2) - np.maximum(offsets - pitch / 2, -reach / 2)
    weights = np.maximum(overlap, 0)
    weights[np.arange(count), np.argmin(np.abs(offsets), axis=1)] += 1e-9
    weights /= weights.sum(axis=1, keepdims=True)
    moment = (weights * offsets).sum(axis=1)
    spread = (weights * offsets**2).sum(axis=1) - moment**2
    tilt = np.where(spread > 1e-6, moment / np.maximum(spread, 1e-6), 0.0)
    corrected = weights * (1 - tilt[:, None] * (offsets - moment[:, None]))
    # At the frame's rim a sample may have neighbours on one side only: there the plain average stands.
    weights = np.where((corrected.min(axis=1) >= 0)[:, None], corrected, weights)
    return first.astype(np.int32), weights.astype(np.float32)


@kernel
def reduce_mosaic(  # type: ignore[no-untyped-def]
    mosaic,
    channels,
    blacks,
    scales,
    caps,
    first_row,
    row_weights,
    first_column,
    column_weights,
    out,
    first,
    last,
):
    """Rows of area-averaged planes straight from a mosaic.

    mosaic : uint16, (height, width). channels : int32, (4,), the channel at each place of the 2×2 pattern.
    blacks, scales, caps : float32, (4,): value = min((count − black) · scale, cap).
    first_row, row_weights : int32, (2, rows) and float32, (2, rows, taps), for even and odd source rows; columns alike.
    out : float32, (3, rows, columns).
    """
    width = mosaic.shape[1]
    rows = out.shape[1]
    columns = out.shape[2]
    taps_down = row_weights.shape[2]
    taps_across = column_weights.shape[2]
    sums = np.empty(width, np.float32)
    half = (width + 1) // 2
    lattice = np.empty(half, np.float32)
    for row in range(first, min(last, rows)):
        for channel in range(3):
            for column in range(columns):
                out[channel, row, column] = np.float32(0)
        for down in range(2):
            start = first_row[down, row]
            black_even = blacks[2 * down]
            black_odd = blacks[2 * down + 1]
            scale_even = scales[2 * down]
            scale_odd = scales[2 * down + 1]
            cap_even = caps[2 * down]
            cap_odd = caps[2 * down + 1]
            for column in range(width):
                sums[column] = np.float32(0)
            for tap in range(taps_down):
                weight = row_weights[down, row, tap]
                if weight == np.float32(0):
                    continue
                source = mosaic[2 * (start + tap) + down]
                for pair in range(width // 2):
                    even = np.uintp(2 * pair)
                    odd = np.uintp(2 * pair + 1)
                    sums[even] += weight * min((np.float32(source[even]) - black_even) * scale_even, cap_even)
                    sums[odd] += weight * min((np.float32(source[odd]) - black_odd) * scale_odd, cap_odd)
                if width & 1:
                    even = np.uintp(width - 1)
                    sums[even] += weight * min((np.float32(source[even]) - black_even) * scale_even, cap_even)
            for across in range(2):
                channel = channels[2 * down + across]
                share = _HALF if channel == 1 else np.float32(1)
                count = (width - across + 1) // 2
                for place in range(count):
                    lattice[np.uintp(place)] = sums[np.uintp(2 * place + across)]
                target = out[channel, row]
                for column in range(columns):
                    begin = np.uintp(first_column[across, column])
                    total = np.float32(0)
                    for tap in range(taps_across):
                        total += column_weights[across, column, tap] * lattice[begin + np.uintp(tap)]
                    target[column] += share * total


@kernel
def reduce_planes(  # type: ignore[no-untyped-def]
    planes, first_row, row_weights, first_column, column_weights, out, first, last
):
    """Rows of area-averaged planes from planes. planes : float32, (3, height, width); out : float32, (3, rows, columns)."""
    width = planes.shape[2]
    sums = np.empty(width, np.float32)
    for row in range(first, min(last, out.shape[1])):
        for channel in range(3):
            sums[:] = np.float32(0)
            for tap in range(row_weights.shape[1]):
                weight = row_weights[row, tap]
                source = planes[channel, first_row[row] + tap]
                for column in range(width):
                    sums[np.uintp(column)] += weight * source[np.uintp(column)]
            target = out[channel, row]
            for column in range(out.shape[2]):
                begin = np.uintp(first_column[column])
                total = np.float32(0)
                for tap in range(column_weights.shape[1]):
                    total += column_weights[column, tap] * sums[begin + np.uintp(tap)]
                target[np.uintp(column)] = total


@kernel
def rotate_planes(planes, out, origin_x, origin_y, cosine, sine, first, last):  # type: ignore[no-untyped-def]
    """Rows of planes turned about a point, by Catmull-Rom interpolation.

    Output pixel (column, row) shows the source at origin + (column · cos + row · sin, row · cos − column · sin), in
    source pixels counted from the centre of the first.
    """
    height = planes.shape[1]
    width = planes.shape[2]
    across = np.empty(4, np.float32)
    down = np.empty(4, np.float32)
    for row in range(first, min(last, out.shape[1])):
        for column in range(out.shape[2]):
            x = origin_x + column * cosine + row * sine
            y = origin_y + row * cosine - column * sine
            x0 = int(np.floor(x))
            y0 = int(np.floor(y))
            _catmull_rom(np.float32(x - x0), across)
            _catmull_rom(np.float32(y - y0), down)
            for channel in range(3):
                total = np.float32(0)
                for j in range(4):
                    source = planes[channel, min(max(y0 - 1 + j, 0), height - 1)]
                    line = np.float32(0)
                    for i in range(4):
                        line += across[i] * source[min(max(x0 - 1 + i, 0), width - 1)]
                    total += down[j] * line
                out[channel, row, column] = total


@kernel
def _catmull_rom(t, weights):  # type: ignore[no-untyped-def]
    t2 = t * t
    t3 = t2 * t
    weights[0] = _HALF * (-t3 + np.float32(2) * t2 - t)
    weights[1] = _HALF * (np.float32(3) * t3 - np.float32(5) * t2 + np.float32(2))
    weights[2] = _HALF * (np.float32(-3) * t3 + np.float32(4) * t2 + t)
    weights[3] = _HALF * (t3 - t2)
