"""Detail of a plane, and the spots in it."""

import numpy as np
import numpy.typing as npt
from support.plain import noise as plain
from support.plain import planes as plain_planes

from archive.engine.kernels import neighbourhood, pyramid

Plane = npt.NDArray[np.float32]
NOWHERE = np.empty((0, 0), np.float32)


def half(plane: Plane) -> Plane:
    out = np.empty((-(-plane.shape[0] // 2), -(-plane.shape[1] // 2)), np.float32)
    neighbourhood.halve(plane, out, 0, out.shape[0])
    return out


def grown(small: Plane, shape: tuple[int, int]) -> Plane:
    out = np.empty(shape, np.float32)
    neighbourhood.grow(small, 1, out, 0, shape[0])
    return out


def kept(plane: Plane, sigma: float, band: int = 1000, shares: Plane = NOWHERE) -> Plane:
    """Of a plane that was smoothed to nothing."""
    coarse = half(plane)
    out = np.zeros_like(plane)
    for first in range(0, plane.shape[0], band):
        last = min(first + band, plane.shape[0])
        pyramid.keep_spots(plane, coarse, np.float32(sigma), out, shares, first, last)
    return out


def test_it_is_what_a_plain_one_keeps() -> None:
    random = np.random.default_rng(1)
    for size in ((40, 52), (41, 53), (5, 9), (2, 2)):
        plane = random.normal(0.3, 0.02, size).astype(np.float32)
        plane[size[0] // 2, size[1] // 2] += 0.3
        shares = np.full_like(plane, np.nan)
        made = kept(plane, 0.02, shares=shares)
        noisy = plane.astype(np.float64)
        expected = plain.with_spots(noisy, plain_planes.halved(noisy), np.zeros(size), 0.02)
        assert np.abs(made - expected[0]).max() < 2e-6
        assert np.abs(shares - expected[1]).max() < 2e-5
        assert np.array_equal(kept(plane, 0.02), made)


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
    assert np.abs(made - plane)[9:12, 9:12].max() == 0
    # Of what is around, light that is fainter than the noise goes with it.
    assert np.abs(made - plane)[7:14, 7:14].max() < 1.5
    assert made[30, 30] < 0.2
    for edge in (x > 20, y > 20, x + y > 40, x - y > 3, np.abs(x - 21) < 2):
        assert np.abs(kept((20 * edge).astype(np.float32), 1.0))[8:-8, 8:-8].max() == 0


def test_detail_is_what_the_half_size_does_not_have() -> None:
    plane = np.random.default_rng(3).uniform(0, 1, (21, 30)).astype(np.float32)
    coarse = half(plane)
    out = np.empty((7, 30), np.float32)
    pyramid.details(plane, coarse, 3, out, 0, 7)
    assert np.array_equal(out, (plane - grown(coarse, plane.shape))[::3])


def test_a_bright_star_does_not_lie_on_a_cushion_of_grain() -> None:
    """Within three pixels all noise came back with a star's light, below which smooth light lay."""
    y, x = np.mgrid[0:60, 0:60]
    left = []
    for seed in range(30):
        noise = np.random.default_rng(seed).normal(0, 1, (60, 60))
        star = 40 * np.exp(-((y - 30) ** 2 + (x - 30) ** 2) / 1.2)
        rim = (np.maximum(abs(y - 30), abs(x - 30)) == 3) & (star < 0.1)
        made = kept((noise + star).astype(np.float32), 1.0)
        grain = rim & (np.abs(noise + star) < 1)
        left.append(np.square(made[grain]).sum() / np.square((noise + star)[grain]).sum())
    assert np.median(left) < 0.2


def test_a_plane_without_noise_is_kept_where_it_stands_out_and_stays_a_number() -> None:
    y, x = np.mgrid[0:30, 0:30]
    for star in (0.0, 0.3):
        plane = (0.2 + star * np.exp(-((y - 14) ** 2 + (x - 15) ** 2) / 1.2)).astype(np.float32)
        shares = np.full_like(plane, np.nan)
        made = kept(plane, 0.0, shares=shares)
        assert np.isfinite(made).all() and shares.min() >= 0 and shares.max() == np.sign(star)
