"""The colour around clipped parts."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import clipping as plain

from archive.engine import clipped
from archive.engine.kernels.rows import Rows

GAINS = np.array([2, 1, 1.5], np.float32)


def around(sums: npt.NDArray[np.float32], weight: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    with Rows(1) as rows:
        return clipped.colour_around(np.concatenate([sums, weight[None]]), rows)


def test_colour_comes_from_the_nearest_that_is_known() -> None:
    sums, weight = np.zeros((3, 16, 32), np.float32), np.zeros((16, 32), np.float32)
    weight[:, :4] = weight[:, -4:] = 1
    sums[:, :, :4] = np.array([0.2, 0.8, 0.4], np.float32)[:, None, None]
    sums[:, :, -4:] = np.array([0.9, 0.3, 0.3], np.float32)[:, None, None]
    made = around(sums, weight)
    assert np.allclose(made[:, 8, 1], [0.25, 1, 0.5], atol=0.03)
    assert np.allclose(made[:, 8, 30], [1, 1 / 3, 1 / 3], atol=0.03)
    assert made[1, 8, 8] > made[0, 8, 8]
    assert made[0, 8, 24] > made[1, 8, 24]


def test_where_nothing_is_known_it_is_grey() -> None:
    made = around(np.zeros((3, 5, 7), np.float32), np.zeros((5, 7), np.float32))
    assert np.array_equal(made, np.ones((3, 5, 7), np.float32))


@pytest.mark.parametrize("size", [(12, 16), (13, 7), (1, 5), (1, 1), (2, 9)])
def test_colour_around_is_what_plain_arithmetic_makes(size: tuple[int, int]) -> None:
    """To 2e-5: what hardly anything is known of is told by means of means, whose roundings add up."""
    random = np.random.default_rng(sum(size))
    level = random.choice([0, 0, 0.005, 0.05, 0.5], size)
    weight = level**2
    sums = weight * level * random.uniform(0, 1, (3, *size)) ** 3
    made = around(sums.astype(np.float32), weight.astype(np.float32))
    assert np.abs(made - plain.colour_around(sums, weight)).max() < 2e-5


def curtain(peak: float) -> npt.NDArray[np.float64]:
    """A band of aurora green whose core is too bright: balanced light, (3, 96, 128)."""
    x = np.arange(128)
    light = 0.05 + peak * np.exp(-(((x - 64) / 16) ** 2))
    return np.broadcast_to(np.array([0.35, 1.0, 0.45])[:, None, None] * light, (3, 96, 128))


def test_the_core_of_a_curtain_is_rebuilt_in_its_own_colour() -> None:
    """Its green and blue are lost; red still tells how bright it was."""
    true = curtain(1.8)
    camera = np.minimum(true / GAINS[:, None, None], 1).astype(np.float32)
    plain = camera * GAINS[:, None, None]
    with Rows(1) as rows:
        clipped.rebuilt(camera, GAINS, rows)
    core = np.s_[:, :, 48:80]
    error, before = np.abs(camera - true)[core].mean(), np.abs(plain - true)[core].mean()
    assert error < 0.12 * before
    ratio = camera[0, 48, 64] / camera[1, 48, 64]
    assert abs(ratio / 0.35 - 1) < 0.06


@pytest.mark.parametrize("peak", [0.4, 0.9, 1.2, 4.0])
def test_the_whole_is_what_plain_arithmetic_makes(peak: float) -> None:
    """To 2e-5 of what comes out, as far as the colour around is known."""
    random = np.random.default_rng(7)
    shade = 1 + 0.3 * np.sin(np.arange(53) / 9)[:, None]
    light = curtain(peak)[:, :53, 10:87] * shade + random.normal(0, 0.002, (3, 53, 77))
    planes = np.minimum(light / GAINS[:, None, None], 1).astype(np.float32)
    expected = plain.balanced_and_rebuilt(planes, GAINS)
    with Rows(1) as rows:
        clipped.rebuilt(planes, GAINS, rows)
    assert np.abs(planes - expected).max() < 2e-5 * np.abs(expected).max()


def test_light_that_is_not_clipped_is_only_balanced() -> None:
    camera = (curtain(0.5) / GAINS[:, None, None]).astype(np.float32)
    expected = camera * GAINS[:, None, None]
    with Rows(1) as rows:
        clipped.rebuilt(camera, GAINS, rows)
    assert np.array_equal(camera, expected)
