"""Interpolating missing colours."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import mosaic as plain

from archive.engine.kernels import demosaic

EQUAL = np.ones(3)
PATTERNS = [(0, 1, 1, 2), (1, 0, 2, 1), (1, 2, 0, 1), (2, 1, 1, 0)]


def interpolated(scene: npt.NDArray[np.float64], pattern: tuple[int, ...]) -> npt.NDArray[np.float32]:
    """The scene, (height, width, 3), seen through a pattern and interpolated: float32, (3, height, width)."""
    height, width = scene.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    channel = np.array(pattern).reshape(2, 2)[y % 2, x % 2]
    light = np.take_along_axis(scene, channel[..., None], axis=-1)[..., 0]
    counts = np.round(light * 60000).astype(np.uint16)
    return developed(counts, pattern, np.zeros(4), 60000, np.full(3, np.inf))


def developed(
    counts: npt.NDArray[np.uint16],
    pattern: tuple[int, ...],
    blacks: npt.NDArray[np.float64],
    white: float,
    ceilings: npt.NDArray[np.float64],
    weights: npt.NDArray[np.float64] = EQUAL,
) -> npt.NDArray[np.float32]:
    height, width = counts.shape
    channels = np.array(pattern, np.int32)
    scales, caps = weights[channels] / (white - blacks), (ceilings * weights)[channels]
    levels = (each.astype(np.float32) for each in (blacks, scales, caps))
    padded = np.empty((height + 8, width + 8), np.float32)
    demosaic.normalise(counts, *levels, padded, 0, height)
    demosaic.mirror(padded)
    greens = np.empty_like(padded)
    demosaic.green(padded, channels, np.float32(4.1e-8), greens, 0, height + 8)
    out = np.empty((3, height, width), np.float32)
    demosaic.colours(padded, greens, channels, (1 / weights).astype(np.float32), out, 0, height)
    return out


def scenes(height: int, width: int) -> list[npt.NDArray[np.float64]]:
    """Light of samples: at random, an even sky as calm as what tells no direction, edges with stars."""
    random = np.random.default_rng(height * width)
    y, x = np.mgrid[0:height, 0:width]
    drawn = np.where(x + 2 * y > width, 0.6, 0.03) + 0.5 * (random.uniform(0, 1, (height, width)) > 0.95)
    return [
        random.uniform(-0.01, 1.2, (height, width)),
        random.normal(0.1, 2e-4, (height, width)),
        drawn + random.normal(0, 0.003, (height, width)),
    ]


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("size", [(24, 30), (21, 27), (2, 2), (3, 2), (2, 9), (5, 3), (4, 70)])
def test_it_is_what_plain_arithmetic_makes(pattern: tuple[int, int, int, int], size: tuple[int, int]) -> None:
    """To 3e-5 of clipping: roundings of 6e-8 of light decide between directions that hardly change.

    Where both change by some 1e-4 only, a weight is off by a thousandth for that.
    """
    blacks, ceilings = np.array([600.0, 512.0, 530.0, 700.0]), np.array([0.6, 1.0, 0.8])
    weights = np.array([1.9, 1.0, 0.7])
    for light in scenes(*size):
        counts = np.clip(np.round(512 + 50000 * light), 0, 65535).astype(np.uint16)
        made = developed(counts, pattern, blacks, 50512, ceilings, weights)
        seen = plain.light_of(counts, pattern, blacks, 50512, ceilings)
        assert np.abs(made - plain.demosaiced(seen, pattern, weights)).max() < 3e-5


@pytest.mark.parametrize("pattern", PATTERNS)
def test_measured_samples_stay_as_they_are(pattern: tuple[int, ...]) -> None:
    scene = np.random.default_rng(1).uniform(0.1, 0.9, (24, 30, 3))
    made = interpolated(scene, pattern)
    y, x = np.mgrid[0:24, 0:30]
    channel = np.array(pattern).reshape(2, 2)[y % 2, x % 2]
    kept = np.take_along_axis(np.moveaxis(made, 0, -1), channel[..., None], axis=-1)[..., 0]
    truth = np.take_along_axis(scene, channel[..., None], axis=-1)[..., 0]
    assert np.abs(kept - truth).max() < 2e-5


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("size", [(20, 26), (21, 27), (2, 2), (3, 8)])
def test_flat_colours_are_exact_to_the_rim(pattern: tuple[int, ...], size: tuple[int, int]) -> None:
    scene = np.broadcast_to([0.2, 0.5, 0.8], (*size, 3)).astype(np.float64)
    made = interpolated(scene, pattern)
    for channel, value in enumerate((0.2, 0.5, 0.8)):
        assert np.abs(made[channel] - value).max() < 3e-5


def test_an_edge_is_followed_along_not_across() -> None:
    scene = np.full((40, 40, 3), 0.1)
    scene[:, 20:] = 0.8
    for turned in (scene, scene.transpose(1, 0, 2)):
        made = np.moveaxis(interpolated(turned, PATTERNS[0]), 0, -1)
        assert np.abs(made - turned)[4:-4, 4:-4].max() < 0.02


def test_stars_keep_their_shape_better_than_by_plain_averaging() -> None:
    y, x = np.mgrid[0:64, 0:64]
    star = sum(np.exp(-((y - p) ** 2 + (x - 1.3 * p) ** 2) / 2.4) for p in (10.3, 22.8, 40.5))
    scene = np.repeat((0.05 + 0.7 * np.asarray(star))[..., None], 3, axis=2)
    made = interpolated(scene, PATTERNS[0])
    error = np.sqrt(np.mean((np.moveaxis(made, 0, -1) - scene)[8:-8, 8:-8] ** 2))
    green_only = np.where((y + x) % 2 == 1, scene[..., 1], 0)
    plain = (np.roll(green_only, 1, 0) + np.roll(green_only, -1, 0) + np.roll(green_only, 1, 1)
             + np.roll(green_only, -1, 1)) / 4  # fmt: skip
    bilinear = np.where((y + x) % 2 == 1, scene[..., 1], plain)
    plain_error = np.sqrt(np.mean((bilinear - scene[..., 1])[8:-8, 8:-8] ** 2))
    assert error < 0.75 * plain_error


@pytest.mark.parametrize(("height", "width"), [(5, 6), (2, 2), (2, 7), (9, 3)])
def test_the_mirror_goes_on_with_the_pattern(height: int, width: int) -> None:
    padded = np.zeros((height + 8, width + 8), np.float32)
    inside = np.s_[4 : 4 + height, 4 : 4 + width]
    padded[inside] = np.arange(height * width).reshape(height, width)
    demosaic.mirror(padded)
    expected = np.pad(padded[inside], 4, mode="reflect")
    assert np.array_equal(padded, expected)
