"""Neighbourhood passes against plain ones."""

import numpy as np
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


@pytest.mark.parametrize("size", [(64, 96), (63, 97), (5, 3)])
@pytest.mark.parametrize("factor", [1, 2, 5])
def test_shrinking_takes_area_means(size: tuple[int, int], factor: int) -> None:
    plane = RANDOM.uniform(0, 1, size).astype(np.float32)
    with Rows(1) as rows:
        made = spatial.shrunk(plane, factor, rows)
    for row in range(made.shape[0]):
        for column in range(made.shape[1]):
            part = plane[row * factor : (row + 1) * factor, column * factor : (column + 1) * factor]
            assert made[row, column] == pytest.approx(part.mean(), abs=1e-6)


def test_guided_smoothing_keeps_edges_and_takes_noise() -> None:
    step = np.where(np.arange(200)[None] < 100, 0.2, 0.8).repeat(120, axis=0)
    noisy = (step + RANDOM.normal(0, 0.01, step.shape)).astype(np.float32)
    with Rows(1) as rows:
        made = spatial.guided(noisy, noisy, 4, 0.03**2, rows, coarse=False)
    assert made[:, 20:80].std() < 0.003
    assert np.abs(made[:, 98:102] - step[:, 98:102]).mean() < 0.01


def test_the_coarse_way_is_close_to_the_fine_one() -> None:
    y, x = np.mgrid[0:200, 0:300]
    plane = (np.sin(x / 40) + np.cos(y / 30) + (x > 150)).astype(np.float32)
    with Rows(1) as rows:
        fine = spatial.guided(plane, plane, 15, 0.3, rows, coarse=False)
        coarse = spatial.guided(plane, plane, 15, 0.3, rows, coarse=True)
    assert np.abs(fine - coarse).mean() < 0.02


def test_threads_change_nothing() -> None:
    plane = RANDOM.uniform(0, 1, (333, 150)).astype(np.float32)
    with Rows(1) as one, Rows(3) as three:
        for coarse in (False, True):
            assert np.array_equal(
                spatial.guided(plane, plane, 12, 0.1, one, coarse=coarse),
                spatial.guided(plane, plane, 12, 0.1, three, coarse=coarse),
            )
