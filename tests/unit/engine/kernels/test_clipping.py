"""Rebuilding clipped channels."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import clipping as plain

from archive.engine.kernels import clipping

GAINS = np.array([2, 1, 1.5], np.float32)


def rebuilt(
    camera: tuple[float, float, float], around: tuple[float, float, float]
) -> npt.NDArray[np.float32]:
    planes = np.array(camera, np.float32).reshape(3, 1, 1).copy()
    clipping.rebuild(planes, GAINS, np.array(around, np.float32).reshape(3, 1, 1), 3, 0, 1)
    return planes[:, 0, 0]


def test_what_is_not_clipped_is_balanced_and_no_more() -> None:
    assert np.array_equal(rebuilt((0.5, 0.85, 0.2), (1, 1, 1)), np.float32([1.0, 0.85, 0.3]))
    planes = np.float32([[0.5, 1.0], [0.5, 1.0], [0.5, 1.0]]).reshape(3, 1, 2).copy()
    clipping.rebuild(planes, GAINS, np.ones((3, 1, 1), np.float32), 3, 0, 1)
    assert np.allclose(planes[:, 0, 0], [1.0, 0.5, 0.75])


@pytest.mark.parametrize("around", [(0.35, 1.0, 0.45), (1.0, 0.6, 0.4), (1.0, 1.0, 1.0)])
@pytest.mark.parametrize("channels", [(1,), (0, 1), (1, 2), (0, 2)])
def test_lost_channels_take_the_colour_around(
    around: tuple[float, float, float], channels: tuple[int, ...]
) -> None:
    true = np.array(around)
    scale = max(1.08 / (true[k] / GAINS[k]) for k in channels)
    camera = true * scale / GAINS
    lost = camera >= 1
    made = rebuilt(tuple(np.minimum(camera, 1).tolist()), around)
    if lost.all():
        return
    assert np.allclose(made / made.max(), true / true.max(), atol=0.02)


def test_nothing_becomes_darker_than_its_own_clipping() -> None:
    random = np.random.default_rng(1)
    for _ in range(200):
        camera = np.minimum(random.uniform(0.3, 1.6, 3), 1)
        around = random.uniform(0.1, 1, 3)
        made = rebuilt(tuple(camera.tolist()), tuple(around.tolist()))
        assert (made >= camera * GAINS * (1 - 1e-6)).all()
        assert np.isfinite(made).all()


def test_a_wholly_clipped_pixel_reaches_all_its_bounds_in_the_colour_around() -> None:
    made = rebuilt((1, 1, 1), (0.5, 1.0, 0.5))
    assert np.allclose(made, [2, 4, 2], rtol=1e-4)


def test_known_colours_leave_out_what_was_clipped() -> None:
    planes = np.full((3, 8, 16), 0.4, np.float32)
    planes[1, :, 8:] = 1.0
    out = np.empty((5, 1, 2), np.float32)
    clipping.known_colours(planes, GAINS, 8, out, 0, 1)
    assert np.allclose(out[:3, 0, 0] / out[1, 0, 0], GAINS, rtol=1e-5)
    assert out[3, 0, 0] == pytest.approx(0.16, rel=1e-5)
    assert out[4, 0].tolist() == [0, 1]
    assert out[3, 0, 1] == 0


def lamps(height: int, width: int) -> npt.NDArray[np.float32]:
    """Camera light of coloured lamps, clipped in one to three channels, in a sky with noise below 0."""
    random = np.random.default_rng(height + width)
    y, x = np.mgrid[0:height, 0:width]
    light = random.normal(0.002, 0.004, (3, height, width))
    for colour in ((1.6, 0.5, 0.3), (0.6, 1.3, 1.1), (2.0, 1.7, 1.5), (0.7, 0.3, -0.2)):
        at = random.uniform(0, 1, 2) * (height, width)
        spot = np.exp(-((y - at[0]) ** 2 + (x - at[1]) ** 2) / (height * width / 60 + 1))
        light += np.array(colour)[:, None, None] * spot
    return np.minimum(light, 1).astype(np.float32)


@pytest.mark.parametrize("size", [(64, 80), (37, 53), (1, 1), (5, 3), (8, 17)])
def test_known_colours_are_those_of_plain_arithmetic(size: tuple[int, int]) -> None:
    """To a millionth: sums of 64 weights below 1."""
    planes = lamps(*size)
    out = np.empty((5, -(-size[0] // 8), -(-size[1] // 8)), np.float32)
    clipping.known_colours(planes, GAINS, 8, out, 0, out.shape[1])
    sums, weight, loss = plain.known(planes, GAINS)
    assert np.abs(out - np.stack([*sums, weight, loss])).max() < 1e-6


@pytest.mark.parametrize("size", [(64, 80), (37, 53), (1, 1), (5, 3), (8, 17)])
def test_rebuilding_is_what_plain_arithmetic_makes(size: tuple[int, int]) -> None:
    """To 5e-6 of what comes out: some ten roundings of 6e-8, and the steep step where channels are lost."""
    planes = lamps(*size)
    rows, columns = -(-size[0] // 8), -(-size[1] // 8)
    around = np.random.default_rng(3).uniform(0, 1, (3, rows, columns)).astype(np.float32)
    around[:, 0, 0] = 1, 0, 0.5
    expected = plain.rebuilt(planes, GAINS, around.astype(np.float64))
    clipping.rebuild(planes, GAINS, around, 3, 0, size[0])
    assert (np.abs(planes - expected) < 5e-6 * np.maximum(np.abs(expected), 1)).all()
