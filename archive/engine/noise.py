"""Take noise away, in square-root light where it is equally strong in dark and bright parts.

Brightness is calmed level by level of a pyramid, so that coarse grain goes as well as fine; colour follows
the calmed brightness, that of stars as their own light says, and keeps what of it stands out by itself.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import numpy.typing as npt

from archive.engine import shrinkage, spatial
from archive.engine.kernels import grain, neighbourhood, pyramid, stars
from archive.engine.kernels.rows import Rows, Step
from archive.engine.operators.noise import ColourNoise, LuminanceNoise

Planes = npt.NDArray[np.float32]
Plane = npt.NDArray[np.float32]

# The coarsest grain looked at is this share of the diagonal, and of 8 pixels in any case: grain that is left
# in a small picture is mottle.
_COARSEST, _LEAST_LEVELS = 1 / 300, 3
_SMALLEST = 4
# Noise of a half-size plane, at most: half for white noise, a little more where neighbours are alike. What is
# measured beyond that is the scene.
_PASSED_ON = 0.55
_ENOUGH = 24_000
# Blocks in which variance is taken; of all that vary, this share is even enough to show nothing but noise.
_BLOCK, _EVEN = 8, 0.4
_COLOUR_RADIUS = 8.0
_LEAST_RADIUS, _MOST_HALVINGS = 2.2, 2
_GUIDE_STRENGTH = 3.2
# Colour follows brightness as if what varies less than this share of what is taken were no edge.
_EASE = 0.57
# How steeply stars' colour differences follow their luma, as a standard deviation about white; and the level
# of the pyramid at which that is measured.
_STARS, _STAR_LEVEL = 0.3, 1
# Red, green and blue half way to the grey of which green is half.
_PALER = np.array([[0.625, 0.25, 0.125], [0.125, 0.75, 0.125], [0.125, 0.25, 0.625]])
_NOWHERE = np.empty((0, 0), np.float32)


def denoise(
    planes: Planes,
    luminance: LuminanceNoise | None,
    colour: ColourNoise | None,
    root_offset: float,
    gains: npt.NDArray[np.float64],
    diagonal: float,
    rows: Rows,
) -> list[Step]:
    """Smooth balanced camera light in place, up to the steps that are given back to be done.

    planes : float32, (3, height, width). root_offset : what to add to light before its root is taken, if it
    were not balanced. gains : (3,), by which it was. diagonal : the frame's, in output pixels.
    """
    height = planes.shape[1]
    offsets = _offsets(root_offset, gains)
    # All sets in gradually, so that a ramp may begin at nothing.
    share = min(1.0, max(step.strength for step in (luminance, colour) if step))
    before = planes.copy() if share < 1 else planes
    # Red, green, blue become luma, red − luma, blue − luma of the roots.
    rows.run(grain.to_roots, height, planes, offsets)
    lumas = _halves(planes[0], _levels(planes[0], diagonal), rows)
    sigmas = _sigmas(lumas, rows)
    spreads = _spreads(planes, rows)
    smoothed = luminance is not None and sigmas[0] > 0
    calm, kept = lumas, _NOWHERE
    if luminance is not None and smoothed:
        calm, kept = _calmed(lumas, sigmas, luminance.strength, 0, rows)
    steps: list[Step] = []
    smoothed_share = min(1.0, luminance.strength) if luminance is not None and smoothed else 0.0
    followed_share = min(1.0, colour.strength) if colour is not None and max(spreads[1:3]) > 0 else 0.0
    if colour is not None and followed_share:
        strong = luminance is not None and luminance.strength >= _GUIDE_STRENGTH
        guides, kept = (
            (calm, kept) if smoothed and strong else _calmed(lumas, sigmas, _GUIDE_STRENGTH, 1, rows)
        )
        own = _Stars(lumas, kept, sigmas, rows) if len(lumas) > _STAR_LEVEL + 1 else None
        steps.append(
            _colour_step(planes, calm[0], guides, own, sigmas, colour, followed_share, diagonal, rows)
        )
    lost = np.array(_lost(spreads, smoothed_share, followed_share), np.float32)
    steps.append((grain.from_roots, (calm[0], planes, offsets, lost)))
    return steps if share == 1 else [*steps, (grain.mixed, (before, planes, np.float32(share)))]


def _offsets(root_offset: float, gains: npt.NDArray[np.float64]) -> npt.NDArray[np.float32]:
    """What to add to paler red, green and blue, float32, (3,), so that roots are as noisy in the dark.

    A gain makes the noise of light itself stronger by its root only, and that of reading it wholly so.
    """
    squares = _PALER**2
    return (root_offset * (squares @ gains**2) / (squares @ gains)).astype(np.float32)


def _spreads(planes: Planes, rows: Rows) -> list[float]:
    """Variance of luma, both differences, and red, green and blue roots in even parts of the picture."""
    if min(planes.shape[1:]) < _BLOCK:
        return [0.0] * 6
    stride = max(_BLOCK, round(math.sqrt(planes[0].size * _BLOCK**2 / _ENOUGH)))
    out = np.empty((6, *((side - _BLOCK) // stride + 1 for side in planes.shape[1:])), np.float32)
    rows.run(grain.block_variances, out.shape[1], planes, _BLOCK, stride, out)
    found = out.reshape(6, -1)
    lively = found[0] > spatial.DEAD**2
    if lively.mean() >= spatial.LIVELY:
        found = found[:, lively]
    place = int(_EVEN * found.shape[1])
    return [max(0.0, float(each)) for each in np.partition(found, place, axis=1)[:, place]]


def _lost(spreads: list[float], smoothed: float, followed: float) -> list[float]:
    """The variance that smoothing takes from red, green and blue roots: their squares are too small by it."""
    luma, warm, cold, *roots = spreads
    left_luma = (1 - smoothed) ** 2 * luma
    left = [left_luma + (1 - followed) ** 2 * each for each in (warm, 0.25 * (warm + cold), cold)]
    return [max(0.0, root - kept) for root, kept in zip(roots, left, strict=True)]


def _levels(plane: Plane, diagonal: float) -> int:
    wanted = round(math.log2(max(diagonal * _COARSEST, 1.0)))
    possible = int(math.log2(max(min(plane.shape) / _SMALLEST, 1)))
    return max(0, min(max(_LEAST_LEVELS, wanted), possible))


def _halves(plane: Plane, levels: int, rows: Rows) -> list[Plane]:
    planes = [plane]
    for _ in range(levels):
        planes.append(spatial.halved(planes[-1], rows))
    return planes


def _sigmas(planes: list[Plane], rows: Rows) -> list[float]:
    """Noise of the detail of every level but the last, blind to what stands out of it."""
    found: list[float] = []
    for plane, coarse in itertools.pairwise(planes):
        sigma = spatial.spread(_details(plane, coarse, max(1, plane.size // _ENOUGH), rows))
        found.append(min(sigma, _PASSED_ON * found[-1]) if found else sigma)
    return found or [0.0]


def _details(plane: Plane, coarse: Plane, stride: int, rows: Rows) -> Plane:
    """Every ``stride``-th row of what a plane has beyond its half-size version."""
    detail = np.empty((-(-plane.shape[0] // stride), plane.shape[1]), np.float32)
    rows.run(pyramid.details, detail.shape[0], plane, coarse, stride, detail)
    return detail


def _calmed(
    planes: list[Plane], sigmas: list[float], strength: float, finest: int, rows: Rows
) -> tuple[list[Plane], Plane]:
    """Every level calmed, coarsest first in the making, down to the ``finest`` wanted, and where stars are.

    That is, of no size where there are too few levels, how far every pixel of half size is kept as a star's.
    """
    calm = list(planes)
    kept = np.empty_like(planes[_STAR_LEVEL]) if len(planes) > _STAR_LEVEL + 1 else _NOWHERE
    for level in reversed(range(finest, len(planes) - 1)):
        plane, coarse = planes[level], calm[level + 1]
        out = shrinkage.shrunk(plane, coarse, strength, sigmas[level], rows)
        sigma = np.float32(sigmas[level])
        told = kept if level == _STAR_LEVEL else _NOWHERE
        rows.run(pyramid.keep_spots, out.shape[0], plane, planes[level + 1], sigma, out, told)
        calm[level] = out
    return calm, kept


class _Stars:
    """Places of stars at half size, and the luma there, for finding their own colours."""

    def __init__(self, lumas: list[Plane], shares: Plane, sigmas: list[float], rows: Rows) -> None:
        self._luma, self._shares = lumas[_STAR_LEVEL], shares
        self._detail = _details(self._luma, lumas[_STAR_LEVEL + 1], 1, rows)
        self._variance = sigmas[_STAR_LEVEL] ** 2
        self._rows = rows

    def colour(self, differences: list[list[Plane]], slopes: Planes, offsets: Planes) -> None:
        """Let two differences, each at several sizes, follow luma as stars' own light does, in place."""
        rows, level = self._rows, _STAR_LEVEL
        tinges = np.empty((len(differences), *self._luma.shape), np.float32)
        for each, tinge in zip(differences, tinges, strict=True):
            rows.run(pyramid.details, tinge.shape[0], each[level], each[level + 1], 1, tinge)
        stride = max(1, tinges[0].size // _ENOUGH)
        noise = [self._variance, *(spatial.spread(tinge[::stride]) ** 2 for tinge in tinges)]
        rows.run(
            stars.own_colours, tinges.shape[1], self._shares, self._luma, self._detail, tinges,
            np.array(noise, np.float32), np.float32(_STARS**2), slopes, offsets,
        )  # fmt: skip


def _colour_step(
    planes: Planes,
    luma: Plane,
    guides: list[Plane],
    own: _Stars | None,
    sigmas: list[float],
    colour: ColourNoise,
    share: float,
    diagonal: float,
    rows: Rows,
) -> Step:
    radius = max(_LEAST_RADIUS, _COLOUR_RADIUS / 1000 * diagonal)
    halvings = min(max(1, spatial.halvings_for(radius, _LEAST_RADIUS)), _MOST_HALVINGS, len(guides) - 1)
    reach = max(1, round(radius / 2**halvings))
    tolerance = (_EASE * colour.strength * max(sigmas[0], 1e-5) / 2**halvings) ** 2
    fine = min(halvings, 1)
    slopes = np.empty((2, *guides[fine].shape), np.float32)
    offsets = np.empty_like(slopes)
    small = [_halves(planes[index], _MOST_HALVINGS, rows) for index in (1, 2)]
    for index, plane in enumerate(small):
        slope, offset = spatial.guided(guides[halvings], plane[halvings], reach, tolerance, rows)
        rows.run(neighbourhood.grow, slopes.shape[1], slope, halvings - fine, slopes[index])
        rows.run(neighbourhood.grow, slopes.shape[1], offset, halvings - fine, offsets[index])
    if own is not None:
        own.colour(small, slopes, offsets)
    for index, plane in enumerate(small):
        slope, offset = slopes[index], offsets[index]
        offset += _own(plane[fine], guides[fine], slope, offset, colour.strength, rows)
    return grain.follow, (luma, planes, slopes, offsets, fine, np.float32(share))


def _own(colour: Plane, guide: Plane, slope: Plane, offset: Plane, strength: float, rows: Rows) -> Plane:
    """What a colour difference has beyond what follows from the guide, without its noise."""
    left = np.empty_like(colour)
    rows.run(grain.unexplained, left.shape[0], colour, guide, slope, offset, left)
    sigma = spatial.spread(left[:: max(1, left.size // _ENOUGH)])
    nothing = np.zeros((-(-left.shape[0] // 2), -(-left.shape[1] // 2)), np.float32)
    return shrinkage.shrunk(left, nothing, strength, sigma, rows)
