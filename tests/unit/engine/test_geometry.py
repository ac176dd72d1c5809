"""Where output pixels lie on the sensor, and what a simulated lens leaves behind after it is undone."""

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import FULL, camera, frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.engine import framing, geometry, sampling
from archive.engine.framing import View
from archive.engine.kernels.rows import Rows
from archive.engine.lensmodel import GREEN, NO_LENS, LensModel
from archive.engine.operators.framing import Crop, Straighten
from archive.engine.operators.lens import Distortion, LateralColour
from archive.engine.pipeline import render_linear
from archive.model.product import PixelSpec

Floats = npt.NDArray[np.float64]
WIDTH, HEIGHT = 600, 400
# Stars are white.
GAINS = camera().daylight / camera().daylight[1]
BENT = Distortion(model="poly4", k1=0.02, k2=-0.06, k3=0.02, unit=0.5547)
SPREAD = LateralColour(red=1.002, blue=0.998, red_b=0.0005, unit=0.5547)
LENS = LensModel(distortion=BENT, lateral=SPREAD)


def settings(lens: LensModel) -> list[str]:
    found = []
    for name, step in (("distortion", lens.distortion), ("lateral_colour", lens.lateral)):
        if step is not None:
            found += [f"{name}.{each.name}={getattr(step, each.name)}" for each in step.declared.parameters]
    return found


def ideal_stars() -> tuple[Floats, Floats]:
    """Places of an ideal lens, in pixels from the frame's centre."""
    x, y = np.meshgrid(np.linspace(-250, 250, 9) + 0.37, np.linspace(-160, 160, 7) - 0.21)
    return x.ravel(), y.ravel()


def photographed(lens: LensModel, channel: int, sigma: float = 1.4) -> Floats:
    """Stars of unit flux where the lens draws them. (HEIGHT, WIDTH)."""
    half = np.hypot(WIDTH, HEIGHT) / 2
    x, y = ideal_stars()
    sx, sy = lens.placed(x / half, y / half, channel)
    down, across = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    light = np.full((HEIGHT, WIDTH), 0.02)
    for px, py in zip(sx * half + WIDTH / 2, sy * half + HEIGHT / 2, strict=True):
        light += 0.6 * np.exp(-((across - px) ** 2 + (down - py) ** 2) / (2 * sigma**2))
    return light


def found_stars(light: Floats, x: Floats, y: Floats, reach: int) -> tuple[Floats, Floats, Floats]:
    """Centre of gravity and flux of the star nearest to each place, in pixels of the picture."""
    centres_x, centres_y, fluxes = [], [], []
    for px, py in zip(x, y, strict=True):
        left, top = int(px) - reach, int(py) - reach
        part = light[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
        part = part - np.median(np.r_[part[0], part[-1], part[:, 0], part[:, -1]])
        down, across = np.mgrid[0 : 2 * reach + 1, 0 : 2 * reach + 1] + 0.5
        centres_x.append(left + (part * across).sum() / part.sum())
        centres_y.append(top + (part * down).sum() / part.sum())
        fluxes.append(part.sum())
    return np.array(centres_x), np.array(centres_y), np.array(fluxes)


def camera_light(
    lens: LensModel, undone: LensModel, angle: float, fit: tuple[int, int] | None
) -> tuple[Floats, View]:
    """What the sensor saw through a lens, undone by another model, before colours are mixed; and the view."""
    view = framing.view_of(
        WIDTH, HEIGHT, aspect=1.0, orientation=1, straighten=Straighten(angle=angle) if angle else None,
        crop=None, pixels=PixelSpec(fit=fit), lens=undone,
    )  # fmt: skip
    with Rows(1) as rows:
        planes = sampling.sampled(frame(mosaic_of(lens)), view, undone, np.full(3, np.inf, np.float32), rows)
    return planes * GAINS[:, None, None], view


def shown(view: View) -> tuple[Floats, Floats, npt.NDArray[np.bool_], int]:
    """Where ideal stars are in a view, which lie well inside it, and how far to look around them."""
    x, y = ideal_stars()
    cosine, sine = np.cos(view.angle), np.sin(view.angle)
    at_x = (x * cosine - y * sine - view.left) * view.scale
    at_y = (x * sine + y * cosine - view.top) * view.rows / view.height
    reach = max(4, round(8 * view.scale))
    inside = (np.abs(at_x - view.columns / 2) < view.columns / 2 - 2 * reach) & (
        np.abs(at_y - view.rows / 2) < view.rows / 2 - 2 * reach
    )
    return at_x[inside], at_y[inside], inside, reach


def mosaic_of(lens: LensModel) -> npt.NDArray[np.uint16]:
    channels = [photographed(lens, channel) for channel in range(3)]
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    place = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    light = np.choose(place, channels) / GAINS[place]
    return np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16)


@pytest.mark.parametrize("fit", [None, (280, 280)])
@pytest.mark.parametrize("angle", [0.0, 3.0])
def test_a_known_lens_leaves_less_than_a_third_of_a_pixel(fit: tuple[int, int] | None, angle: float) -> None:
    """Distortion and lateral colour, straight from the mosaic: every star of every channel."""
    planes, view = camera_light(LENS, LENS, angle, fit)
    x, y, _, reach = shown(view)
    assert x.size > 25
    for channel in range(3):
        at_x, at_y, _ = found_stars(planes[channel], x, y, reach)
        left = np.hypot(at_x - x, at_y - y) / view.scale
        assert left.max() < 0.3
        assert left.mean() < 0.12


def test_an_uncorrected_lens_would_be_noticed() -> None:
    planes, view = camera_light(LENS, NO_LENS, 0.0, None)
    x, y, _, reach = shown(view)
    at_x, at_y, _ = found_stars(planes[1], x, y, reach)
    assert np.hypot(at_x - x, at_y - y).max() > 1


@pytest.mark.parametrize("fit", [None, (280, 280)])
def test_resampling_keeps_a_stars_flux_within_five_percent(fit: tuple[int, int] | None) -> None:
    truth = 0.6 * 2 * np.pi * 1.4**2
    nearly = LensModel(distortion=Distortion(model="poly5", k1=0.001, unit=1.0))
    planes, view = camera_light(NO_LENS, nearly, 1.5, fit)
    x, y, _, reach = shown(view)
    assert x.size > 25
    for channel in range(3):
        _, _, fluxes = found_stars(planes[channel], x, y, reach)
        assert np.abs(fluxes / view.scale**2 / truth - 1).max() < 0.05


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_shows_the_same_picture(orientation: int) -> None:
    """A stored frame turned by its orientation, then corrected, equals the upright frame corrected."""
    light = np.random.default_rng(3).uniform(0, 1, (60, 90, 3)).astype(np.float32)
    upright = np.moveaxis(framing.upright(np.moveaxis(light, -1, 0), orientation), 0, -1)
    wanted = (*settings(LENS), "straighten.angle=4", "crop.left=0.1", "crop.bottom=0.2")
    made = render_linear(picture(light, orientation=orientation), recipe(*wanted), FULL)
    expected = render_linear(picture(np.ascontiguousarray(upright)), recipe(*wanted), FULL)
    assert made.shape == expected.shape
    # Which axis is cut first differs, so that turning by 4° is not the same sum of samples.
    assert np.abs(made - expected).mean() < 0.02
    assert np.corrcoef(made.ravel(), expected.ravel())[0, 1] > 0.99


def test_knots_of_a_plain_view_are_the_samples_themselves() -> None:
    view = framing.view_of(
        WIDTH, HEIGHT, aspect=1.0, orientation=1, straighten=None, crop=Crop(left=0.1), pixels=FULL
    )
    places = geometry.knots(view, NO_LENS, 1, WIDTH, HEIGHT)
    x, y = places.of(GREEN)
    assert np.allclose(x[0, :3], [60.5, 76.5, 92.5])
    assert np.allclose(y[:3, 0], [0.5, 16.5, 32.5])
    assert (places.columns, places.rows) == (540, 400)


def test_a_known_fall_off_leaves_less_than_one_percent() -> None:
    half = np.hypot(WIDTH, HEIGHT) / 2
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    squared = ((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / half**2
    light = 0.4 * (1 - 0.62 * squared + 0.16 * squared**2 - 0.02 * squared**3)
    mosaic = np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16)
    falls = ("fall_off.k1=-0.62", "fall_off.k2=0.16", "fall_off.k3=-0.02")
    for more in ((), ("crop.left=0.2", "crop.top=0.1"), ("straighten.angle=5",)):
        for fit in (None, (200, 200)):
            flat = render_linear(frame(mosaic), recipe(*falls, *more), PixelSpec(fit=fit))[..., 1]
            assert np.abs(flat / np.median(flat) - 1).max() < 0.01
