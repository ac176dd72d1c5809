"""Sharpening."""

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.rows import Rows
from archive.engine.operators.sharpness import Sharpness
from archive.engine.sharpen import sharpen


def sharpened(
    planes: npt.NDArray[np.float32], diagonal: float = 7200.0, **values: float
) -> npt.NDArray[np.float32]:
    made = planes.copy()
    with Rows(1) as rows:
        sharpen(made, Sharpness(**{"amount": 1.0, "floor": 0.0, **values}), diagonal, rows)
    return made


def edge() -> npt.NDArray[np.float32]:
    x = np.arange(120)
    line = 0.1 + 0.3 / (1 + np.exp(-(x - 60) / 1.5))
    return np.broadcast_to(line, (3, 40, 120)).astype(np.float32).copy()


def test_an_edge_gets_steeper_with_bounded_overshoot() -> None:
    before, after = edge(), sharpened(edge(), radius=1.0)
    assert np.diff(after[1, 20]).max() > 1.15 * np.diff(before[1, 20]).max()
    assert after.max() < 0.4 * 1.15
    assert after.min() > 0.1 * 0.85


def test_flat_areas_stay() -> None:
    flat = np.full((3, 40, 50), 0.2, np.float32)
    assert np.allclose(sharpened(flat), flat, rtol=1e-5)


def test_noise_below_the_floor_is_left_alone() -> None:
    noisy = np.random.default_rng(1).normal(0.2, 0.01, (200, 200)).astype(np.float32)
    planes = np.stack([noisy] * 3)
    assert sharpened(planes, floor=4.0).std() < 1.01 * planes.std()
    assert sharpened(planes, floor=0.0).std() > 1.2 * planes.std()


def test_colour_ratios_stay() -> None:
    planes = edge() * np.array([0.5, 1.0, 0.7], np.float32)[:, None, None]
    made = sharpened(planes)
    assert np.allclose(made[0] / made[1], 0.5, rtol=1e-5)


def test_detail_too_small_for_the_size_is_left_alone() -> None:
    planes = edge()
    assert np.array_equal(sharpened(planes, diagonal=400.0), planes)
