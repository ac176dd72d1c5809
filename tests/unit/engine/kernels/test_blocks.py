"""Sliding blocks: against a plain implementation on SciPy's cosine transform."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import fft
from support.plain import noise as plain
from support.plain import planes as plain_planes

from archive.engine.kernels import blocks, neighbourhood

Plane = npt.NDArray[np.float32]
SIZES = ((40, 52), (41, 53), (129, 200), (5, 9), (1, 1), (2, 130), (20, 245), (9, 255), (30, 506))


def scene(height: int, width: int) -> tuple[Plane, Plane]:
    """A noisy plane with an edge, and a half-size one."""
    random = np.random.default_rng(height)
    plane = random.normal(0.3, 0.02, (height, width)).astype(np.float32)
    plane[height // 3 :, width // 4 : width // 2] += 0.2
    calm = np.empty((-(-height // 2), -(-width // 2)), np.float32)
    neighbourhood.halve(plane, calm, 0, calm.shape[0])
    return plane, calm


def grown(calm: Plane, shape: tuple[int, int]) -> Plane:
    out = np.empty(shape, np.float32)
    neighbourhood.grow(calm, 1, out, 0, shape[0])
    return out


def shrunk(plane: Plane, calm: Plane, inverses: Plane, band: int = 1000) -> Plane:
    out = np.full_like(plane, np.nan)
    for first in range(0, plane.shape[0], band):
        blocks.shrink(plane, calm, inverses, out, first, min(first + band, plane.shape[0]))
    return out


@pytest.mark.parametrize("size", SIZES)
def test_it_is_what_a_plain_one_makes(size: tuple[int, int]) -> None:
    plane, calm = scene(*size)
    inverses = np.linspace(0.3, 2, 64).astype(np.float32) / np.float32(0.05**2)
    base = plain_planes.grown(calm.astype(np.float64), 1, size)
    expected = base + plain.without_small(plane - base, inverses.reshape(8, 8))
    assert np.abs(shrunk(plane, calm, inverses) - expected).max() < 1e-6


@pytest.mark.parametrize("band", [1, 2, 7, 64])
def test_it_is_the_same_in_whatever_bands_it_is_made(band: int) -> None:
    plane, calm = scene(150, 141)
    inverses = np.full(64, 400, np.float32)
    assert np.array_equal(shrunk(plane, calm, inverses, band), shrunk(plane, calm, inverses))


def test_nothing_is_taken_when_nothing_counts_as_noise() -> None:
    plane, calm = scene(60, 75)
    assert np.abs(shrunk(plane, calm, np.full(64, 1e18, np.float32)) - plane).max() < 1e-6


def test_nothing_is_left_when_all_counts_as_noise() -> None:
    plane, calm = scene(60, 75)
    assert np.array_equal(shrunk(plane, calm, np.zeros(64, np.float32)), grown(calm, plane.shape))


def test_sizes_are_those_of_the_cosine_transform() -> None:
    plane, calm = scene(60, 75)
    out = np.empty((64, 11, 9), np.float32)
    blocks.sizes(plane, calm, 5, out, 0, 11)
    detail = plane.astype(np.float64) - grown(calm, plane.shape)
    for row, column in ((0, 0), (3, 8), (10, 5)):
        block = detail[5 * row : 5 * row + 8, 8 * column : 8 * column + 8]
        expected = np.abs(fft.dctn(block, norm="ortho")).ravel()
        assert np.abs(out[:, row, column] - expected).max() < 1e-6
