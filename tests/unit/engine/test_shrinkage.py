"""Noise found and taken whatever its spectrum."""

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from archive.engine import spatial
from archive.engine.kernels.rows import Rows
from archive.engine.shrinkage import shrunk

Plane = npt.NDArray[np.float32]


def noise(blur: float, size: tuple[int, int] = (256, 320)) -> Plane:
    """Of standard deviation 1, coarser with ``blur``."""
    made = ndimage.gaussian_filter(np.random.default_rng(1).normal(0, 1, size), blur)
    return np.asarray(made if made.size == 1 else made / made.std(), np.float32)


def taken(plane: Plane, calm: Plane, sigma: float) -> Plane:
    with Rows(1) as rows:
        return shrunk(plane, calm, 3.0, sigma, rows)


def test_noise_goes_whether_fine_or_coarse_and_a_square_stays() -> None:
    for blur in (0.0, 0.5):
        plane = noise(blur)
        plane[100:160, 100:160] += 20
        truth = np.zeros_like(plane)
        truth[100:160, 100:160] = 20
        nothing = np.zeros((128, 160), np.float32)
        made = taken(plane, nothing, 1.1)
        assert (made - truth)[20:80, 20:300].std() < 0.12
        assert np.sqrt(((made - truth) ** 2).mean()) < 0.3
        assert np.abs((made - truth)[110:150, 110:150].mean()) < 0.1


def test_noise_along_a_hard_edge_goes_too() -> None:
    """It stayed within two pixels of edges, because so much varied there."""
    y, x = np.mgrid[0:256, 0:320]
    for step, left in ((x > 161, 0.6), (y > 130, 0.6), (x + y > 290, 0.9)):
        truth = ndimage.gaussian_filter(30 * step.astype(np.float32), 0.7)
        plane = truth + noise(0)
        with Rows(1) as rows:
            made = taken(plane, spatial.halved(plane, rows), 1.0)
        beside = ndimage.maximum_filter(step, 5) != ndimage.minimum_filter(step, 5)
        assert (made - truth)[beside].std() < left


def test_planes_too_small_to_tell_are_taken_at_the_word_of_the_caller() -> None:
    for size in ((1, 1), (7, 30), (9, 9), (20, 16)):
        plane = noise(0, size)
        calm = np.zeros((-(-size[0] // 2), -(-size[1] // 2)), np.float32)
        assert np.abs(taken(plane, calm, 5.0)).max() == 0
        assert np.abs(taken(plane, calm, 0.0) - plane).max() < 1e-5
