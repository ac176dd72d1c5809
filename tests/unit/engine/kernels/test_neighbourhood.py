"""Neighbourhood passes against plain loops."""

import numpy as np
import pytest

from archive.engine.kernels import neighbourhood


@pytest.mark.parametrize("radius", [1, 2, 6, 40])
@pytest.mark.parametrize("size", [(30, 41), (1, 1), (3, 50)])
def test_box_means_shrink_at_the_rim(radius: int, size: tuple[int, int]) -> None:
    plane = np.random.default_rng(1).uniform(0, 1, size).astype(np.float32)
    out = np.empty_like(plane)
    neighbourhood.box_mean(plane, radius, out, 0, size[0])
    for row in range(size[0]):
        for column in range(0, size[1], 7):
            rows = slice(max(0, row - radius), row + radius + 1)
            columns = slice(max(0, column - radius), column + radius + 1)
            assert out[row, column] == pytest.approx(plane[rows, columns].mean(dtype=np.float64), abs=1e-6)


def test_coefficients_follow_a_linear_relation_exactly() -> None:
    guide = np.random.default_rng(2).uniform(0, 1, (20, 20)).astype(np.float32)
    target = 3 * guide + 1
    squared, crossed = np.empty_like(guide), np.empty_like(guide)
    neighbourhood.products(guide, target, squared, crossed, 0, 20)
    means = []
    for plane in (guide, target, squared, crossed):
        out = np.empty_like(guide)
        neighbourhood.box_mean(plane, 3, out, 0, 20)
        means.append(out)
    slope, offset = np.empty_like(guide), np.empty_like(guide)
    neighbourhood.guided_coefficients(*means, np.float32(1e-9), slope, offset, 0, 20)
    assert np.abs(slope - 3).max() < 1e-3
    assert np.abs(offset - 1).max() < 1e-3


def test_between_pixels_of_a_smaller_plane_slopes_are_exact() -> None:
    factor, height, width = 4, 24, 32
    y, x = np.mgrid[0 : height // factor, 0 : width // factor]
    offset = (x * factor + y * 2 * factor).astype(np.float32)
    slope = np.zeros_like(offset)
    places = np.clip((np.arange(width) + 0.5) / factor - 0.5, 0, width // factor - 1)
    lefts = places.astype(np.int32)
    guide, out = np.zeros((height, width), np.float32), np.empty((height, width), np.float32)
    shares = (places - lefts).astype(np.float32)
    neighbourhood.apply_between(guide, slope, offset, factor, lefts, shares, out, 0, height)
    row, column = np.mgrid[0:height, 0:width]
    expected = (column + 0.5 - factor / 2) + 2 * (row + 0.5 - factor / 2)
    inner = np.s_[factor:-factor, factor:-factor]
    assert np.abs(out - expected)[inner].max() < 1e-4


def test_here_is_slope_times_guide_plus_offset() -> None:
    guide, slope, offset = np.random.default_rng(3).uniform(0, 1, (3, 9, 11)).astype(np.float32)
    out = np.empty_like(guide)
    neighbourhood.apply_here(guide, slope, offset, out, 0, 9)
    assert np.allclose(out, slope * guide + offset, atol=1e-7)
