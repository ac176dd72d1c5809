"""One level of noise reduction."""

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


def restored(plane: Plane, sigma: float, tolerance: float) -> Plane:
    coarse = half(plane)
    out = np.empty_like(plane)
    pyramid.restore(plane, coarse, coarse, np.float32(sigma), np.float32(tolerance), out, 0, plane.shape[0])
    return out


def plain(plane: Plane, sigma: float, tolerance: float) -> npt.NDArray[np.float64]:
    """The same in float64, whole planes at a time."""
    calm = grown(half(plane), plane.shape).astype(np.float64)
    detail = plane - calm
    variance = ndimage.uniform_filter(np.pad(detail, 2, mode="edge") ** 2, 5)[2:-2, 2:-2]
    kept = np.maximum(variance - tolerance, 0) / np.maximum(variance, 1e-20)
    mask = np.array([0.25, 0.5, 0.25])
    spots = ndimage.correlate(detail, np.outer(mask, mask), mode="nearest")
    spots = ndimage.maximum_filter(spots, (3, 5), mode="constant", cval=0.0)
    share = np.clip((spots / (0.28 * sigma) - 3.2) / (5.5 - 3.2), 0, 1)
    kept = np.maximum(kept, share * share * (3 - 2 * share))
    return np.asarray(calm + kept * detail)


def test_it_is_what_a_plain_one_makes() -> None:
    random = np.random.default_rng(1)
    for size in ((40, 52), (41, 53), (5, 9), (2, 2)):
        plane = random.normal(0.3, 0.02, size).astype(np.float32)
        plane[size[0] // 2, size[1] // 2] += 0.3
        assert np.abs(restored(plane, 0.02, 4e-4) - plain(plane, 0.02, 4e-4)).max() < 2e-6


def test_nothing_is_taken_when_nothing_counts_as_noise() -> None:
    plane = np.random.default_rng(2).uniform(0, 1, (30, 40)).astype(np.float32)
    assert np.abs(restored(plane, 1e-9, 0.0) - plane).max() < 1e-6


def test_spots_stay_and_single_grains_go() -> None:
    y, x = np.mgrid[0:42, 0:42]
    plane = (8 * np.exp(-((y - 10) ** 2 + (x - 10) ** 2) / 2.5)).astype(np.float32)
    plane[30, 30] = 2
    made = restored(plane, 1.0, 4.0)
    assert made[10, 10] > 7
    assert made[30, 30] < 0.8


def test_detail_is_what_the_half_size_does_not_have() -> None:
    plane = np.random.default_rng(3).uniform(0, 1, (21, 30)).astype(np.float32)
    coarse = half(plane)
    out = np.empty((7, 30), np.float32)
    pyramid.details(plane, coarse, 3, out, 0, 7)
    assert np.array_equal(out, (plane - grown(coarse, plane.shape))[::3])
