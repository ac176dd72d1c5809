"""How near our demosaic comes to a known scene, beside LibRaw's AHD of the same raw (signal to noise, dB).

The measure is the usual one, 10·log10(1 / mean squared error) for light where 1 is clipping; the scene is
simulated, so that the truth is known. Its sensor sees less of red and blue than of green, as real ones do.
"""

import io

import numpy as np
import numpy.typing as npt
import pytest
import rawpy
from support.recipes import camera, frame
from support.tinydng import BLACK, WHITE, tiny_dng

from archive.engine import framing, sampling
from archive.engine.kernels.rows import Rows
from archive.engine.lensmodel import NO_LENS
from archive.model.product import PixelSpec

Floats = npt.NDArray[np.float64]
HEIGHT, WIDTH = 256, 320
EDGE = 12
GAINS = camera().daylight / camera().daylight[1]


def landscape(seed: int = 1) -> Floats:
    """Smooth sky, a ragged ridge, fine stripes in a lake: grey and coloured detail. (height, width, 3)."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    ridge = 120 + 20 * np.sin(x / 23) + 9 * np.sin(x / 7.1)
    sky = 0.15 + 0.25 * y / HEIGHT
    lake = 0.2 + 0.08 * np.sin((x + 2 * y) / 2.6)
    light = np.where(y < ridge, sky, np.where(y < 190, 0.04, lake))
    tint = np.stack([1 - 0.2 * y / HEIGHT, np.ones_like(y), 0.8 + 0.2 * x / WIDTH], axis=-1)
    # No lens resolves single samples: a little blur, as in front of every sensor.
    soft = sum(np.roll(light, (dy, dx), (0, 1)) for dy in (-1, 0, 1) for dx in (-1, 0, 1)) / 9
    return np.asarray(soft[:, :, None] * tint)


def stars() -> Floats:
    random = np.random.default_rng(5)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    light = np.full((HEIGHT, WIDTH, 3), 0.03)
    for _ in range(350):
        colour = np.array([random.uniform(0.7, 1.0), 1.0, random.uniform(0.7, 1.0)])
        at_y, at_x = random.uniform(4, HEIGHT - 4), random.uniform(4, WIDTH - 4)
        spread = np.exp(-((y - at_y) ** 2 + (x - at_x) ** 2) / (2 * 0.9**2))
        light += random.uniform(0.02, 0.5) * spread[:, :, None] * colour
    return np.minimum(light, 0.95)


def photographed(scene: Floats, noise: float) -> npt.NDArray[np.uint16]:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    light = np.take_along_axis(scene / GAINS, channel[:, :, None], axis=2)[:, :, 0]
    light = light + np.random.default_rng(9).normal(0, noise, light.shape)
    return np.round(np.clip(light, 0, 1) * (WHITE - BLACK) + BLACK).astype(np.uint16)


def ours(mosaic: npt.NDArray[np.uint16]) -> Floats:
    """Balanced light, (height, width, 3)."""
    view = framing.view_of(
        WIDTH, HEIGHT, aspect=1.0, orientation=1, straighten=None, crop=None, pixels=PixelSpec(fit=None)
    )
    with Rows(1) as rows:
        planes = sampling.sampled(frame(mosaic), view, NO_LENS, np.full(3, np.inf, np.float32), rows)
    return np.moveaxis(planes, 0, -1) * GAINS


def ahd(mosaic: npt.NDArray[np.uint16]) -> Floats:
    """Balanced light, (height, width, 3), balanced before it is interpolated."""
    red, green, blue = GAINS
    with rawpy.imread(io.BytesIO(tiny_dng(mosaic))) as raw:
        made = raw.postprocess(
            demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD, gamma=(1, 1), no_auto_bright=True, output_bps=16,
            output_color=rawpy.ColorSpace.raw, user_wb=[red, green, blue, green], adjust_maximum_thr=0.0,
        )  # fmt: skip
    return np.asarray(made / 65535.0)


def decibels(made: Floats, truth: Floats) -> float:
    inner = np.s_[EDGE:-EDGE, EDGE:-EDGE]
    return float(-10 * np.log10(np.mean((made[inner] - truth[inner]) ** 2)))


@pytest.mark.parametrize(
    ("scene", "noise", "ahead"),
    [(landscape(), 0.0, 1.0), (landscape(), 0.01, 0.3), (stars(), 0.0, 4.0), (stars(), 0.005, 1.5)],
    ids=["clean", "noisy", "stars", "noisy stars"],
)
def test_our_demosaic_is_better_than_ahd(scene: Floats, noise: float, ahead: float) -> None:
    mosaic = photographed(scene, noise)
    assert decibels(ours(mosaic), scene) > decibels(ahd(mosaic), scene) + ahead


def test_white_stars_have_no_core_of_false_colour() -> None:
    """They were magenta in the middle and green around it: red and blue had half of green's curvature."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    random = np.random.default_rng(4)
    light, places = np.full((HEIGHT, WIDTH), 0.03), []
    for row in range(20, HEIGHT - 20, 17):
        for column in range(20, WIDTH - 20, 15):
            at_y, at_x = row + random.uniform(-0.5, 0.5), column + random.uniform(-0.5, 0.5)
            light += 0.5 * np.exp(-((y - at_y) ** 2 + (x - at_x) ** 2) / (2 * 0.9**2))
            places.append((round(at_y), round(at_x)))
    made = ours(photographed(np.repeat(light[:, :, None], 3, axis=2), 0.0)) - 0.03
    cores = np.mean([made[place] for place in places], axis=0)
    assert np.abs(cores / cores[1] - 1).max() < 0.05
