"""Roots and back, and spots."""

import numpy as np

from archive.engine.kernels import grain


def test_roots_and_back_is_the_same_light() -> None:
    planes = np.random.default_rng(1).uniform(0, 1, (3, 20, 30)).astype(np.float32)
    made = planes.copy()
    zero = np.float32(0)
    grain.to_roots(made, np.float32(1e-3), 0, 20)
    grain.from_roots(made, np.float32(1e-3), zero, zero, zero, 0, 20)
    assert np.abs(made - planes).max() < 1e-6


def test_luma_is_the_weighted_mean_of_roots() -> None:
    planes = np.array([0.04, 0.09, 0.16], np.float32).reshape(3, 1, 1).copy()
    grain.to_roots(planes, np.float32(0), 0, 1)
    assert np.allclose(planes[:, 0, 0], [0.3, -0.1, 0.1], atol=1e-6)


def test_spots_are_given_back_and_single_grains_are_not() -> None:
    smooth = np.zeros((21, 21), np.float32)
    plane = smooth.copy()
    y, x = np.mgrid[0:21, 0:21]
    plane += (4 * np.exp(-((y - 5) ** 2 + (x - 5) ** 2) / 2.5)).astype(np.float32)
    plane[15, 15] = 3
    out = np.empty_like(plane)
    grain.keep_stars(plane, smooth, np.float32(1), out, 0, 21)
    assert out[5, 5] > 3.5
    assert out[15, 15] < 0.2
    assert out[15, 5] == 0
