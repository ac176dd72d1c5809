"""Camera light of a view, resampled once from the frame as it was counted."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from support.plain import mosaic
from support.plain.framing import Lens, Shown, knots
from support.plain.planes import Floats
from support.plain.resampling import area_shares, warped

from archive.engine.decode import Decoded


def sampled(decoded: Decoded, counts: npt.NDArray[Any], view: Shown, lens: Lens, ceilings: Floats) -> Floats:
    """(3, rows, columns), each channel held at its ceiling before it is mixed. counts : a frame's pixels."""
    curved = view.angle != 0 or lens.distortion is not None or lens.lateral is not None
    if decoded.pattern is None:
        planes = np.minimum(np.moveaxis(counts, -1, 0).astype(np.float64), ceilings[:, None, None])
        return along_map(planes, view, lens) if curved else by_area(planes, view)
    light = mosaic.light_of(counts, decoded.pattern, decoded.black, decoded.white, ceilings)
    # Of a mosaic that is made half as large or smaller, nothing has to be known between its samples.
    far, small = view.width / view.columns >= 2 - 1e-6, min(counts.shape) < 8
    if far and not small if curved else far or small:
        return straight_from(light, decoded.pattern, view, lens, curved=curved)
    daylight = decoded.camera.daylight if decoded.camera else np.ones(3)
    planes = mosaic.demosaiced(light, decoded.pattern, daylight / daylight[1])
    planes = planes[:, : counts.shape[0], : counts.shape[1]]
    return along_map(planes, view, lens) if curved else by_area(planes, view)


def straight_from(light: Floats, pattern: mosaic.Pattern, view: Shown, lens: Lens, *, curved: bool) -> Floats:
    """Each place of a pattern by itself, as a frame half as fine; the two greens are averaged."""
    out = np.zeros((3, view.rows, view.columns))
    for place, channel in enumerate(pattern):
        row, column = divmod(place, 2)
        part, share = light[row::2, column::2], 0.5 if channel == 1 else 1.0
        if curved:
            out[channel] += share * one_along_map(part, view, lens, channel, (column, row), 2)
        else:
            out[channel] += share * one_by_area(part, view, (column, row), 2)
    return out


def by_area(planes: Floats, view: Shown) -> Floats:
    return np.stack([one_by_area(plane, view, (0, 0), 1) for plane in planes])


def one_by_area(plane: Floats, view: Shown, first: tuple[int, int], pitch: int) -> Floats:
    left, top = view.left + view.frame[0] / 2, view.top + view.frame[1] / 2
    rows = area_shares(view.rows, top, view.height, plane.shape[0], pitch, first[1])
    columns = area_shares(view.columns, left, view.width, plane.shape[1], pitch, first[0])
    # Not by a library of matrices, whose threads wait for each other while other tests run.
    return np.einsum("cx,rx->rc", columns, np.einsum("ry,yx->rx", rows, plane))


def along_map(planes: Floats, view: Shown, lens: Lens) -> Floats:
    return np.stack(
        [one_along_map(plane, view, lens, channel, (0, 0), 1) for channel, plane in enumerate(planes)]
    )


def one_along_map(
    plane: Floats, view: Shown, lens: Lens, channel: int, first: tuple[int, int], pitch: int
) -> Floats:
    x, y = knots(view, lens, channel)
    places = (x - first[0] - 0.5) / pitch, (y - first[1] - 0.5) / pitch
    # Down as across: samples and pixels are square.
    span = view.width / view.columns / pitch
    span = span if span > 1 + 1e-6 else 0.0
    return warped(plane, places, (view.rows, view.columns), (span, span))
