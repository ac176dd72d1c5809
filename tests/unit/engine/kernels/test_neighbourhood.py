"""Neighbourhood passes against plain ones."""

import numpy as np
import pytest
from scipy import ndimage

from archive.engine.kernels import neighbourhood


@pytest.mark.parametrize("radius", [1, 2, 5, 6, 40])
@pytest.mark.parametrize("size", [(30, 41), (1, 1), (3, 50)])
def test_box_means_repeat_the_rim(radius: int, size: tuple[int, int]) -> None:
    plane = np.random.default_rng(1).uniform(0, 1, size).astype(np.float32)
    out = np.empty_like(plane)
    neighbourhood.box_mean(plane, radius, out, 0, size[0])
    expected = np.pad(plane.astype(np.float64), radius, mode="edge")
    expected = ndimage.uniform_filter(expected, 2 * radius + 1)[radius:-radius, radius:-radius]
    assert np.abs(out - expected).max() < 2e-6


@pytest.mark.parametrize("radius", range(9))
def test_window_sums_are_sums_of_windows(radius: int) -> None:
    line = np.random.default_rng(2).integers(0, 99, 20 + 2 * radius).astype(np.float32)
    expected = [line[k : k + 2 * radius + 1].sum() for k in range(20)]
    out = np.empty(20, np.float32)
    neighbourhood.window_sums(line.copy(), radius, np.empty_like(line), out)
    assert out.tolist() == expected


def test_coefficients_follow_a_linear_relation_exactly() -> None:
    guide = np.random.default_rng(2).uniform(0, 1, (20, 20)).astype(np.float32)
    slope, offset = np.empty_like(guide), np.empty_like(guide)
    neighbourhood.guided_coefficients(guide, 3 * guide + 1, 3, np.float32(1e-9), slope, offset, 0, 20)
    assert np.abs(slope - 3).max() < 1e-3
    assert np.abs(offset - 1).max() < 1e-3


def test_large_even_values_do_not_cancel() -> None:
    guide = np.full((9, 9), 1000, np.float32)
    guide[4, 4] += 0.01
    slope, offset = np.empty_like(guide), np.empty_like(guide)
    neighbourhood.guided_coefficients(guide, guide, 2, np.float32(1.0), slope, offset, 0, 9)
    assert np.abs(slope * guide + offset - 1000).max() < 0.01


@pytest.mark.parametrize("size", [(6, 8), (5, 7), (1, 1), (2, 3)])
def test_halving_takes_means_of_four_and_repeats_what_is_missing(size: tuple[int, int]) -> None:
    plane = np.random.default_rng(3).uniform(0, 1, size).astype(np.float32)
    even = np.pad(plane, ((0, size[0] % 2), (0, size[1] % 2)), mode="edge").astype(np.float64)
    expected = even.reshape(even.shape[0] // 2, 2, even.shape[1] // 2, 2).mean(axis=(1, 3))
    out = np.empty(expected.shape, np.float32)
    neighbourhood.halve(plane, out, 0, out.shape[0])
    assert np.abs(out - expected).max() < 1e-6


@pytest.mark.parametrize("doublings", [0, 1, 2, 3])
def test_growing_keeps_slopes_and_places(doublings: int) -> None:
    factor = 2**doublings
    y, x = np.mgrid[0:9, 0:11]
    small = ((x + 0.5) * factor + 2 * (y + 0.5) * factor).astype(np.float32)
    out = np.empty((9 * factor, 11 * factor), np.float32)
    neighbourhood.grow(small, doublings, out, 0, out.shape[0])
    row, column = np.mgrid[0 : out.shape[0], 0 : out.shape[1]]
    expected = (column + 0.5) + 2 * (row + 0.5)
    inner = np.s_[factor : -factor or None, 2 * factor : -2 * factor]
    assert np.abs(out - expected)[inner].max() < 1e-4


def test_growing_fills_odd_sizes_and_single_pixels() -> None:
    out = np.empty((3, 5), np.float32)
    neighbourhood.grow(np.full((1, 1), 7, np.float32), 3, out, 0, 3)
    assert (out == 7).all()


@pytest.mark.parametrize("size", [(30, 40), (3, 50), (1, 1)])
def test_blur_is_weighted_down_and_across_with_the_rim_repeated(size: tuple[int, int]) -> None:
    plane = np.random.default_rng(4).uniform(0, 1, size).astype(np.float32)
    weights = np.array([0.4, 0.2, 0.1], np.float32)
    both = np.concatenate([weights[:0:-1], weights]).astype(np.float64)
    expected = ndimage.correlate1d(plane.astype(np.float64), both, axis=0, mode="nearest")
    expected = ndimage.correlate1d(expected, both, axis=1, mode="nearest")
    out = np.empty_like(plane)
    neighbourhood.blur(plane, weights, out, 0, size[0])
    assert np.abs(out - expected).max() < 1e-6
