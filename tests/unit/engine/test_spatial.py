"""Neighbourhood passes against plain ones."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from archive.engine import spatial
from archive.engine.kernels.rows import Rows

RANDOM = np.random.default_rng(11)


def test_noise_is_measured_blind_to_slopes_and_stars() -> None:
    _, x = np.mgrid[0:300, 0:400]
    plane = 0.2 + x * 1e-3 + RANDOM.normal(0, 0.01, (300, 400))
    plane[RANDOM.integers(0, 300, 300), RANDOM.integers(0, 400, 300)] += 0.5
    assert spatial.measured_sigma(plane.astype(np.float32)) == pytest.approx(0.01, rel=0.06)


def test_a_tiny_plane_has_no_measurable_noise() -> None:
    assert spatial.measured_sigma(np.ones((5, 9), np.float32)) == 0


@pytest.mark.parametrize("sigma", [0.5, 1.3, 4.0])
def test_blur_is_a_gaussian(sigma: float) -> None:
    plane = RANDOM.uniform(0, 1, (90, 70)).astype(np.float32)
    with Rows(1) as rows:
        made = spatial.blurred(plane, sigma, rows)
    reach = max(1, int(np.ceil(3 * sigma)))
    expected = ndimage.gaussian_filter(plane.astype(np.float64), sigma, mode="nearest", radius=reach)
    assert np.abs(made - expected).max() < 1e-5


@pytest.mark.parametrize("sigma", [7.0, 20.0])
def test_a_wide_blur_is_nearly_one(sigma: float) -> None:
    assert spatial.is_wide(sigma)
    plane = ndimage.gaussian_filter(RANDOM.normal(0, 1, (200, 300)), 2).astype(np.float32)
    with Rows(1) as rows:
        made = spatial.blurred(plane, sigma, rows)
    expected = ndimage.gaussian_filter(plane.astype(np.float64), sigma, mode="nearest")
    inner = np.s_[60:-60, 60:-60]
    assert np.abs(made - expected)[inner].std() < 0.06 * expected[inner].std()


def test_radii_are_halved_while_enough_pixels_are_left() -> None:
    assert [spatial.halvings_for(radius, 5.0) for radius in (1.0, 5.0, 9.9, 10.0, 86.0)] == [0, 0, 0, 1, 4]


def test_guided_smoothing_keeps_edges_and_takes_noise() -> None:
    step = np.where(np.arange(200)[None] < 100, 0.2, 0.8).repeat(120, axis=0)
    noisy = (step + RANDOM.normal(0, 0.01, step.shape)).astype(np.float32)
    with Rows(1) as rows:
        slope, offset = spatial.guided(noisy, noisy, 4, 0.03**2, rows)
    made = slope * noisy + offset
    assert made[:, 20:80].std() < 0.003
    assert np.abs(made[:, 98:102] - step[:, 98:102]).mean() < 0.01


def test_guided_smoothing_is_what_a_plain_one_makes() -> None:
    """Against He, Sun and Tang's definition (Guided Image Filtering, 2010), with the rim repeated."""
    guide = RANDOM.uniform(0, 1, (50, 61)).astype(np.float32)
    target = (guide**2 + RANDOM.normal(0, 0.1, guide.shape)).astype(np.float32)

    def mean(plane: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
        return np.asarray(ndimage.uniform_filter(plane.astype(np.float64), 7, mode="nearest"))

    # Deviations beyond the rim repeat, so products may be taken first.
    i, p = guide.astype(np.float64), target.astype(np.float64)
    slope = (mean(i * p) - mean(i) * mean(p)) / (mean(i * i) - mean(i) ** 2 + 0.02)
    offset = mean(p) - slope * mean(i)
    with Rows(1) as rows:
        made = spatial.guided(guide, target, 3, 0.02, rows)
    assert np.abs(made[0] - mean(slope)).max() < 1e-5
    assert np.abs(made[1] - mean(offset)).max() < 1e-5


def test_pieces_change_nothing() -> None:
    plane = RANDOM.uniform(0, 1, (133, 150)).astype(np.float32)

    def made(rows: Rows) -> list[npt.NDArray[np.float32]]:
        slope, offset = spatial.guided(plane, plane, 6, 0.1, rows)
        return [slope, offset, spatial.blurred(plane, 1.2, rows), spatial.blurred(plane, 14.0, rows)]

    with Rows(1) as one, Rows(3, band=7) as three:
        for first, second in zip(made(one), made(three), strict=True):
            assert np.array_equal(first, second)


@pytest.mark.parametrize("count", [1, 2, 7, 8, 1001])
def test_the_spread_of_values_is_told_by_their_median_size(count: int) -> None:
    values = np.random.default_rng(count).normal(0, 0.3, count).astype(np.float32)
    assert spatial.spread(values) == pytest.approx(1.4826 * np.median(np.abs(values)), rel=1e-6)
