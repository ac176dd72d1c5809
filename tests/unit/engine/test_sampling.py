"""Sensor data → planes of the view's size."""

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import FULL, frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.engine import framing, sampling
from archive.engine.decode import Decoded
from archive.engine.kernels.rows import Rows
from archive.engine.lensmodel import NO_LENS
from archive.engine.operators.framing import Straighten
from archive.engine.pipeline import render_linear
from archive.model.product import PixelSpec

OPEN = np.full(3, np.inf, np.float32)


def planes(decoded: Decoded, fit: tuple[int, int] | None) -> npt.NDArray[np.float32]:
    height, width = decoded.pixels.shape[:2]
    view = framing.view_of(
        width, height, aspect=1.0, orientation=decoded.orientation, straighten=None, crop=None,
        pixels=PixelSpec(fit=fit),
    )  # fmt: skip
    with Rows(1) as rows:
        return sampling.sampled(decoded, view, NO_LENS, OPEN, None, rows)


def ramp(height: int = 120, width: int = 160) -> npt.NDArray[np.float64]:
    y, x = np.mgrid[0:height, 0:width]
    return np.asarray(0.1 + (x + 0.5) / width * 0.4 + (y + 0.5) / height * 0.2)


def counts(light: npt.NDArray[np.float64]) -> npt.NDArray[np.uint16]:
    return np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16)


@pytest.mark.parametrize("fit", [(80, 60), (53, 40), (40, 30), (17, 13)])
def test_every_colour_lands_at_its_true_place(fit: tuple[int, int]) -> None:
    """A slope comes out as the same slope in all channels: a shift of phase would offset red against blue."""
    made = planes(frame(counts(ramp())), fit)
    _, rows, columns = made.shape
    y, x = np.mgrid[0:rows, 0:columns]
    expected = 0.1 + (x + 0.5) / columns * 0.4 + (y + 0.5) / rows * 0.2
    for channel in range(3):
        assert np.abs(made[channel] - expected)[1:-1, 1:-1].max() < 2e-4


def test_a_reduction_keeps_the_total_of_light() -> None:
    random = np.random.default_rng(3)
    light = random.uniform(0.05, 0.9, (128, 192))
    made = planes(frame(counts(light)), (48, 32))
    for channel, (down, across) in enumerate([(0, 0), (0, 1), (1, 1)]):
        expected = light[down::2, across::2].mean()
        if channel == 1:
            expected = (light[0::2, 1::2].mean() + light[1::2, 0::2].mean()) / 2
        assert made[channel].mean() == pytest.approx(expected, rel=5e-3)


def test_a_demosaiced_slope_is_exact() -> None:
    made = planes(frame(counts(ramp())), None)
    assert np.abs(made - ramp())[:, 4:-4, 4:-4].max() < 2e-4


def test_a_fine_grey_pattern_gets_no_colour() -> None:
    _, x = np.mgrid[0:96, 0:96]
    made = planes(frame(counts(0.3 + 0.2 * np.sin(x / 1.6))), None)[:, 8:-8, 8:-8]
    assert np.abs(made[0] - made[1]).mean() < 0.03


def test_pictures_are_averaged_by_area() -> None:
    light = np.random.default_rng(4).uniform(0, 1, (60, 90, 3)).astype(np.float32)
    made = planes(picture(light), (30, 20))
    expected = light.reshape(20, 3, 30, 3, 3).mean(axis=(1, 3))
    assert np.allclose(np.moveaxis(made, 0, -1), expected, atol=0.02)
    assert np.array_equal(np.moveaxis(planes(picture(light), None), 0, -1), light)


def test_a_straightened_slope_is_turned_by_the_angle() -> None:
    light = np.repeat(ramp(200, 300)[:, :, None], 3, axis=2).astype(np.float32)
    made = render_linear(picture(light), recipe("straighten.angle=10"), FULL)
    across = float(np.diff(made[..., 1], axis=1)[20:-20, 20:-20].mean())
    down = float(np.diff(made[..., 1], axis=0)[20:-20, 20:-20].mean())
    angle, gx, gy = np.radians(10), 0.4 / 300, 0.2 / 200
    assert across == pytest.approx(gx * np.cos(angle) - gy * np.sin(angle), rel=0.02)
    assert down == pytest.approx(gx * np.sin(angle) + gy * np.cos(angle), rel=0.02)


@pytest.mark.parametrize("fit", [None, (260, 260), (140, 140), (60, 60), (23, 23)])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_curved_map_agrees_with_the_straight_one(fit: tuple[int, int] | None, orientation: int) -> None:
    """A frame turned by almost nothing comes out as one that is not turned, whichever way it lies."""
    decoded = frame(counts(ramp(200, 300)), orientation=orientation)
    settings = ("crop.left=0.1", "crop.top=0.2")
    pixels = PixelSpec(fit=fit)
    straight = render_linear(decoded, recipe(*settings), pixels)
    turned = render_linear(decoded, recipe(*settings, "straighten.angle=0.0001"), pixels)
    assert straight.shape == turned.shape
    assert np.abs(straight - turned)[2:-2, 2:-2].max() < 2e-3


def test_straightening_keeps_the_centre() -> None:
    light = np.repeat(ramp(200, 300)[:, :, None], 3, axis=2).astype(np.float32)
    turned = render_linear(picture(light), recipe("straighten.angle=-12"), FULL)
    assert float(turned.mean()) == pytest.approx(float(light.mean()), abs=1e-3)
    assert Straighten(angle=-12).declared.name == "straighten"
