"""Detail and adding it."""

import numpy as np

from archive.engine.kernels import detail


def test_roots_of_luminance_are_zero_without_light() -> None:
    planes = np.array([[0.25, -1], [0.25, -1], [0.25, -1]], np.float32)[:, None, :].copy()
    out = np.empty((1, 2), np.float32)
    detail.luminance_roots(planes, out, 0, 1)
    assert np.allclose(out, [[0.5, 0]], atol=1e-6)


def test_detail_is_added_above_its_floor_and_levels_off_at_edges() -> None:
    roots = np.full((1, 4), 0.5, np.float32)
    smooth = (roots - np.array([[0.001, 0.01, 0.2, -0.01]])).astype(np.float32)
    planes = np.full((3, 1, 4), 0.25, np.float32)
    detail.add_detail(planes, roots, smooth, np.float32(1), np.float32(0.002), 0, 1)
    made = np.sqrt(planes[1, 0]) - 0.5
    assert abs(made[0]) < 1e-6
    assert 0.006 < made[1] < 0.008
    assert made[2] < 0.12
    assert -0.008 < made[3] < 0
