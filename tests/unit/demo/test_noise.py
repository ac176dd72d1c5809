"""Gradient noise: zero on its lattice, smooth, bounded, and the same for ever."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo.noise import fractal, noise


def test_noise_is_zero_on_the_lattice() -> None:
    assert [noise(float(i), float(j), float(k)) for i, j, k in ((0, 0, 0), (3, -7, 2), (255, 256, -1))] == [
        0,
        0,
        0,
    ]


def test_noise_is_continuous_where_cells_meet() -> None:
    for x in (-3.0, 0.0, 255.0, 256.0):
        assert noise(x - 1e-7, 0.37, 4.2) == pytest.approx(noise(x + 1e-7, 0.37, 4.2), abs=1e-5)


def test_noise_is_bounded_centred_and_busy() -> None:
    x, y = np.meshgrid(np.arange(200) * 0.317, np.arange(200) * 0.291)
    field = fractal(x, y, 0.5, octaves=1)
    assert np.abs(field).max() <= 1.1
    assert abs(field.mean()) < 0.03
    assert 0.15 < field.std() < 0.5


def test_more_octaves_add_finer_detail() -> None:
    x = np.linspace(0, 20, 4000)
    rough, plain = (fractal(x, 0 * x, 1.5, octaves=octaves) for octaves in (6, 1))
    assert np.abs(np.diff(rough)).mean() > 2 * np.abs(np.diff(plain)).mean()


def test_the_field_index_picks_another_field() -> None:
    x = np.linspace(0, 9, 300)
    assert abs(np.corrcoef(fractal(x, 0 * x + 0.5, 1.5), fractal(x, 0 * x + 0.5, 60.5))[0, 1]) < 0.5
