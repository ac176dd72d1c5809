"""Detail of a plane, and the spots in it."""

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from archive.engine.kernels import neighbourhood, pyramid

Plane = npt.NDArray[np.float32]


def half(plane: Plane) -> Plane:
    out = np.empty((-(-plane.shape[0] // 2), -(-plane.shape[1] // 2)), np.float32)
    neighbourhood.halve(plane, out, 0, out.shape[0])
    return out


def grown(small: Plane, shape: tuple[int, int]) -> Plane:
    out = np.empty(shape, np.float32)
    neighbourhood.grow(small, 1, out, 0, shape[0])
    return out


def kept(plane: Plane, sigma: float, band: int = 1000) -> Plane:
    """Of a plane that was smoothed to nothing."""
    coarse = half(plane)
    out = np.zeros_like(plane)
    for first in range(0, plane.shape[0], band):
        last = min(first + band, plane.shape[0])
        pyramid.keep_spots(plane, coarse, np.float32(sigma), out, first, last)
    return out


def plain(plane: Plane, sigma: float) -> npt.NDArray[np.float64]:
    """The same in float64, whole planes at a time."""
    detail = plane.astype(np.float64) - grown(half(plane), plane.shape)
    mask = np.array([0.25, 0.5, 0.25])
    means = ndimage.correlate(detail, np.outer(mask, mask), mode="nearest")
    height, width = plane.shape
    padded = np.pad(means, 3, mode="edge")

    def beside(down: int, across: int) -> npt.NDArray[np.float64]:
        return padded[3 + down : 3 + down + height, 3 + across : 3 + across + width]

    ways = ((0, 3), (3, 0), (2, 2), (2, -2))
    around = np.max([(beside(y, x) + beside(-y, -x)) / 2 for y, x in ways], axis=0)
    heights = means - np.maximum(around, 0)

    def share(size: int, low: float, high: float) -> npt.NDArray[np.float64]:
        highest = ndimage.maximum_filter(heights, size, mode="nearest") / (0.28 * sigma)
        t = np.clip((highest - low) / (high - low), 0, 1)
        return np.asarray(t * t * (3 - 2 * t))

    return np.asarray(np.maximum(share(3, 3.3, 5.6), share(7, 6, 9)) * plane)


def test_it_is_what_a_plain_one_keeps() -> None:
    random = np.random.default_rng(1)
    for size in ((40, 52), (41, 53), (5, 9), (2, 2)):
        plane = random.normal(0.3, 0.02, size).astype(np.float32)
        plane[size[0] // 2, size[1] // 2] += 0.3
        assert np.abs(kept(plane, 0.02) - plain(plane, 0.02)).max() < 2e-6


def test_spots_are_the_same_in_whatever_bands_they_are_kept() -> None:
    plane = np.random.default_rng(5).normal(0, 1, (61, 44)).astype(np.float32)
    whole = kept(plane, 0.5)
    assert whole.any()
    for band in (1, 7, 16):
        assert np.array_equal(kept(plane, 0.5, band), whole)


def test_stars_stay_and_single_grains_and_edges_go() -> None:
    y, x = np.mgrid[0:42, 0:42]
    plane = (16 * np.exp(-((y - 10) ** 2 + (x - 10) ** 2) / 2.5)).astype(np.float32)
    plane[30, 30] = 2
    made = kept(plane, 1.0)
    assert np.abs(made - plane)[7:14, 7:14].max() == 0
    assert made[30, 30] < 0.2
    for edge in (x > 20, y > 20, x + y > 40, x - y > 3, np.abs(x - 21) < 2):
        assert np.abs(kept((20 * edge).astype(np.float32), 1.0))[8:-8, 8:-8].max() == 0


def test_detail_is_what_the_half_size_does_not_have() -> None:
    plane = np.random.default_rng(3).uniform(0, 1, (21, 30)).astype(np.float32)
    coarse = half(plane)
    out = np.empty((7, 30), np.float32)
    pyramid.details(plane, coarse, 3, out, 0, 7)
    assert np.array_equal(out, (plane - grown(coarse, plane.shape))[::3])
