"""Raws that are no Bayer mosaic: colours six by six, and sensors without colour. LibRaw interpolates them."""

import io
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pytest
import rawpy
from skimage import color as lab
from skimage.metrics import peak_signal_noise_ratio
from support.dngs import SIX_BY_SIX, unusual_dng
from support.recipes import DARK, recipe
from support.tinydng import BLACK, COLOUR_MATRIX, NEUTRAL, WHITE, tiny_dng

from archive.demo import cards
from archive.engine import colour, operator
from archive.engine.darkframe import MasterDark
from archive.engine.decode import Decoded, DecoderPool
from archive.engine.pipeline import render, render_linear
from archive.errors import ArchiveError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

Light = npt.NDArray[np.float64]

# LibRaw interpolates six by six colours in tiles of 512 and refuses smaller frames.
SIZE = (960, 640)
FULL = PixelSpec(fit=None)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
DARK_LIGHT = 0.004
CALM = ("luminance_noise.strength=3.2", "colour_noise.strength=3.5")


@pytest.fixture(scope="module")
def pool() -> Iterator[DecoderPool]:
    with DecoderPool(1) as made:
        yield made


@pytest.fixture(scope="module")
def light() -> Light:
    """The demo's noiseless scene: linear sRGB, (640, 960, 3)."""
    return np.clip(cards.scene_light("north", 50, size=SIZE), 0, 0.9).astype(np.float64)


def counted(samples: Light, iso: float = 0) -> npt.NDArray[np.uint16]:
    """Counts of light 0 to 1, with photon and read noise above ISO 0."""
    if iso:
        electrons = samples * 6e6 / iso
        noisy = np.random.default_rng(1).normal(electrons, np.sqrt(electrons + 9))
        samples = noisy * iso / 6e6
    return np.clip(np.round(samples * (WHITE - BLACK) + BLACK), 0, WHITE).astype(np.uint16)


def under(pattern: tuple[int, ...], light: Light) -> Light:
    """What each sample sees of sRGB light under square colour filters, by the matrix that the DNGs state."""
    camera = np.array(COLOUR_MATRIX) @ colour.SRGB_TO_XYZ
    camera = camera / camera.sum(axis=1, keepdims=True) * np.array(NEUTRAL)[:, None]
    side = round(len(pattern) ** 0.5)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    channels = np.array(pattern).reshape(side, side)[y % side, x % side]
    return np.take_along_axis(light @ camera.T, channels[..., None], axis=-1)[..., 0]


def six_by_six(light: Light, iso: float = 0, orientation: int = 1) -> bytes:
    return unusual_dng(counted(under(SIX_BY_SIX, light), iso), SIX_BY_SIX, orientation=orientation)


def shown(light: Light) -> Light:
    return colour.srgb_encode(np.clip(light, 0, 1))


def apart(one: npt.NDArray[np.uint8], other: Light) -> float:
    """Mean CIEDE2000 by an independent implementation."""
    return float(lab.deltaE_ciede2000(lab.rgb2lab(one / 255), lab.rgb2lab(other)).mean())


def test_libraw_knows_both_for_what_they_are(light: Light) -> None:
    with rawpy.imread(io.BytesIO(six_by_six(light))) as raw:
        assert raw.raw_pattern.shape == (6, 6)
        assert raw.raw_pattern.ravel().tolist() == list(SIX_BY_SIX)
        assert raw.num_colors == 3
    with rawpy.imread(io.BytesIO(unusual_dng(counted(light @ LUMINANCE)))) as raw:
        assert raw.num_colors == 1


def test_six_by_six_colours_are_near_the_truth(pool: DecoderPool, light: Light) -> None:
    """Mean ΔE2000, stars and ridges included: 0.73 when this was written, of a Bayer mosaic 0.42."""
    decoded = pool.decode(six_by_six(light), "six.dng")
    assert not decoded.is_mosaic
    bayer = pool.decode(tiny_dng(counted(under((0, 1, 1, 2), light))), "bayer.dng")
    assert apart(render(decoded, recipe(), FULL), shown(light)) < 1.0
    assert apart(render(bayer, recipe(), FULL), shown(light)) < 0.6


def test_light_without_colour_is_exact_and_grey(pool: DecoderPool, light: Light) -> None:
    decoded = pool.decode(unusual_dng(counted(light @ LUMINANCE)), "grey.dng")
    made = render(decoded, recipe(), PixelSpec(fit=None, bits=16))
    assert np.array_equal(made[..., 0], made[..., 1])
    assert np.array_equal(made[..., 2], made[..., 1])
    assert np.abs(made[..., 1] / 65535 - shown(light @ LUMINANCE)).max() < 3e-3


@pytest.mark.parametrize("kind", ["six", "grey"])
def test_noise_below_black_stays_so_that_dark_parts_are_no_brighter_for_it(
    kind: str, pool: DecoderPool, light: Light
) -> None:
    """Cut off at black, noise of ISO 12800 would add some 0.001, and most to the weakest channels."""
    dim = light * 0.1
    grey = unusual_dng(counted(dim @ LUMINANCE, 12800))
    data = six_by_six(dim, 12800) if kind == "six" else grey
    truth = dim if kind == "six" else (dim @ LUMINANCE)[..., None]
    made = render_linear(pool.decode(data, "dark.dng"), recipe(), FULL)
    dark = dim.mean(axis=-1) < DARK_LIGHT
    assert np.abs((made - truth)[dark].mean(axis=0)).max() < 3e-4


def test_taking_noise_away_does_not_darken_the_dark_of_a_sensor_without_colour(pool: DecoderPool) -> None:
    """Two electrons a sample under three of read noise, which the file tells."""
    random, counts = np.random.default_rng(3), 12
    electrons = np.full((400, 600), 2.0)
    noisy = random.poisson(electrons) + random.normal(0, 3, electrons.shape)
    span = WHITE - BLACK
    told = (counts / span, (3 * counts / span) ** 2)
    data = unusual_dng(np.round(BLACK + counts * noisy).astype(np.uint16), noise=told)
    decoded = pool.decode(data, "grey.dng")
    assert decoded.noise == pytest.approx(told)
    made = render_linear(decoded, recipe("luminance_noise.strength=6"), FULL)[50:-50, 50:-50, 1]
    assert made.mean() == pytest.approx(2 * counts / span, rel=0.05)


def test_noise_is_taken_away_as_well(pool: DecoderPool, light: Light) -> None:
    decoded = pool.decode(six_by_six(light, 3200), "noisy.dng")
    spec = PixelSpec(fit=None, bits=16)
    noisy, calm = (
        peak_signal_noise_ratio(shown(light), render(decoded, each, spec) / 65535, data_range=1)
        for each in (recipe(), recipe(*CALM))
    )
    assert calm > noisy + 8


@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_orientation_and_crop_act_as_on_any_frame(orientation: int, pool: DecoderPool, light: Light) -> None:
    upright = render(pool.decode(six_by_six(light), "one.dng"), recipe(), PixelSpec(fit=None, bits=16))
    turned = pool.decode(six_by_six(light, orientation=orientation), "turned.dng")
    made = render(turned, recipe(), PixelSpec(fit=None, bits=16))
    quarters = {3: 2, 6: 3, 8: 1}[orientation]
    assert np.array_equal(made, np.rot90(upright, quarters))
    cropped = render(turned, recipe("crop.left=0.25", "crop.top=0.5"), PixelSpec(fit=None, bits=16))
    height, width = made.shape[:2]
    assert np.array_equal(cropped, made[height // 2 :, width // 4 :])


@pytest.mark.parametrize("settings", [(), CALM, ("shadow_lift.stops=1", "sharpness.amount=0.4")])
def test_a_small_picture_looks_like_the_full_one_made_smaller(
    settings: tuple[str, ...], pool: DecoderPool, light: Light
) -> None:
    decoded = pool.decode(six_by_six(light, 1600), "six.dng")
    full = render_linear(decoded, recipe(*settings), FULL).astype(np.float64)
    small = render(decoded, recipe(*settings), PixelSpec(fit=(480, 320)))
    assert apart(small, shown(full.reshape(320, 2, 480, 2, 3).mean(axis=(1, 3)))) < 1


def test_what_works_on_a_bayer_mosaic_only_takes_no_part_or_says_so(pool: DecoderPool, light: Light) -> None:
    decoded: Decoded = pool.decode(six_by_six(light), "six.dng")
    plain = render(decoded, recipe(), FULL)
    assert np.array_equal(render(decoded, recipe("hot_pixels.reach=6"), FULL), plain)
    named = EffectiveRecipe(
        foundation=recipe().foundation, finish=(),
        base=tuple(operator.checked(name, values) for name, values in DARK.items()),
    )  # fmt: skip
    master = MasterDark(counts=np.zeros(decoded.pixels.shape[:2], np.float32), pattern=(0, 1, 1, 2))
    with pytest.raises(ArchiveError, match="no Bayer mosaic"):
        render(decoded, named, FULL, dark=master)
