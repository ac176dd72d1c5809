"""Sensor data → planes of the view's size."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import framing as plain_framing
from support.plain import sampling as plain
from support.recipes import FULL, frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.engine import framing, noisemodel, sampling
from archive.engine.decode import Decoded
from archive.engine.kernels.rows import Rows
from archive.engine.lensmodel import NO_LENS, LensModel
from archive.engine.noisemodel import NoiseModel
from archive.engine.operators.framing import Crop, Straighten
from archive.engine.operators.lens import Distortion, LateralColour
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
        return sampling.sampled(decoded, view, NO_LENS, OPEN, rows)


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


BENT = Distortion(model="poly4", k1=0.02, k2=-0.06, k3=0.05)
SPREAD = LateralColour(red=1.003, red_c=0.002, blue=0.998, blue_b=-0.003)
WAYS: dict[str, tuple[Straighten | None, Crop | None, Distortion | None, LateralColour | None]] = {
    "whole": (None, None, None, None),
    "cropped": (None, Crop(left=0.113, bottom=0.27, aspect=1.1), None, None),
    "turned": (Straighten(angle=-7.3), None, None, None),
    "bent": (None, None, BENT, None),
    "spread": (None, Crop(top=0.2), None, SPREAD),
    "all": (Straighten(angle=3.0), Crop(right=0.15), BENT, SPREAD),
}


# A curved map is known every 16 pixels: in smaller pictures it has no course to follow.
TRIED = [
    *((way, fit) for way in WAYS for fit in (None, (30, 30), (19, 19))),
    *((way, fit) for way in ("whole", "cropped") for fit in ((4, 4), (1, 1))),
]


def drawn(shape: tuple[int, int]) -> npt.NDArray[np.uint16]:
    """Counts of an even sky with hardly any noise, of noise, and of edges, in thirds of a frame."""
    random = np.random.default_rng(shape[1])
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    third = 3 * x // shape[1]
    light = (
        0.1 + random.normal(0, 1, shape) * np.array([2e-4, 0.3, 0.01])[third] + 0.8 * (x + y > 0.8 * x.max())
    )
    return np.clip(np.round(light * (WHITE - BLACK) + BLACK), 0, 65535).astype(np.uint16)


@pytest.mark.parametrize(("way", "fit"), TRIED)
@pytest.mark.parametrize(
    ("pattern", "shape"),
    [((0, 1, 1, 2), (40, 60)), ((1, 0, 2, 1), (41, 63)), ((1, 2, 0, 1), (63, 40)), ((2, 1, 1, 0), (7, 30)),
     ((1, 0, 2, 1), (1, 12)), ((0, 1, 1, 2), (9, 1)), ((0, 1, 1, 2), (1, 1)), (None, (33, 50))],
)  # fmt: skip
def test_planes_of_a_view_are_those_of_plain_arithmetic(
    pattern: tuple[int, int, int, int] | None, shape: tuple[int, int], way: str, fit: tuple[int, int] | None
) -> None:
    """To 1e-4 of clipping along a curved map, whose places are known to 1e-5 of a sample; else to 3e-5."""
    straighten, crop, distortion, lateral = WAYS[way]
    pixels = drawn(shape)
    if pattern is None:
        decoded = picture(np.random.default_rng(1).uniform(0, 1.2, (*shape, 3)).astype(np.float32))
    else:
        blacks = (BLACK + 9.0, BLACK - 20.0, BLACK + 0.5, BLACK + 100.0)
        decoded = replace(frame(pixels, pattern=pattern), black=blacks)
    lens = LensModel(distortion=distortion, lateral=lateral)
    height, width = shape
    view = framing.view_of(
        width, height, aspect=1.0, orientation=1, straighten=straighten, crop=crop,
        pixels=PixelSpec(fit=fit), lens=lens,
    )  # fmt: skip
    ceilings = np.array([0.5, 1.0, 0.8], np.float32)
    with Rows(1) as rows:
        made = sampling.sampled(decoded, view, lens, ceilings, rows)
    plain_lens = plain_framing.Lens(distortion=distortion, lateral=lateral)
    shown = plain_framing.shown(width, height, fit, straighten, crop, plain_lens)
    expected = plain.sampled(decoded, decoded.pixels, shown, plain_lens, ceilings.astype(np.float64))
    assert made.shape == expected.shape
    assert np.abs(made - expected).max() < (3e-5 if way in ("whole", "cropped") else 1e-4)


@pytest.mark.parametrize("shape", [(1, 1), (1, 2), (2, 1), (1, 7), (9, 1), (1, 40), (40, 1)])
@pytest.mark.parametrize("pattern", [(0, 1, 1, 2), (1, 0, 2, 1), (1, 2, 0, 1), (2, 1, 1, 0)])
def test_a_lone_row_or_column_gives_the_colours_it_has_and_its_green_for_the_third(
    shape: tuple[int, int], pattern: tuple[int, int, int, int]
) -> None:
    """Nothing is read beyond the mosaic: what lies there would come out as any value at all."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    channel = np.array(pattern).reshape(2, 2)[y % 2, x % 2]
    light = np.array([0.2, 0.4, 0.6])[channel]
    # The mosaic lies in the middle of others' memory, all of it bright.
    memory = np.full(shape[0] * shape[1] + 400, WHITE, np.uint16)
    memory[200 : 200 + light.size] = counts(light).ravel()
    mosaic = memory[200 : 200 + light.size].reshape(shape)
    present = set(channel.ravel().tolist())
    green = 0.4 if 1 in present else float(light[0, 0])
    for fit in (None, (5, 5), (1, 1)):
        made = planes(frame(mosaic, pattern=pattern), fit)
        for each, value in enumerate((0.2, 0.4, 0.6)):
            assert made[each] == pytest.approx(value if each in present else green, abs=1e-4)


@pytest.mark.parametrize("shape", [(1, 6), (6, 1), (1, 1)])
def test_a_lone_row_or_column_can_be_straightened(shape: tuple[int, int]) -> None:
    mosaic = np.full(shape, BLACK + 3000, np.uint16)
    decoded = replace(frame(mosaic), camera=None)
    made = render_linear(decoded, recipe("straighten.angle=5"), FULL)
    assert np.allclose(made, 3000 / (WHITE - BLACK), atol=1e-5)


def test_a_hot_sample_is_judged_from_the_black_of_its_own_place() -> None:
    """Green of blue's rows has a black of its own in many cameras."""
    mosaic = np.full((40, 60), BLACK + 100, np.uint16)
    mosaic[1::2, 0::2] += 800
    mosaic[21, 30] += 150
    blacks = (float(BLACK), float(BLACK), float(BLACK + 800), float(BLACK))
    decoded = replace(frame(mosaic), black=blacks)
    span = WHITE - BLACK
    with Rows(1) as rows:
        noise = NoiseModel(gain=1 / span, read=25 / span**2)
        made = sampling.cooled(decoded, 12.0, noise, rows)
    # 12 times √(100 + 25) is 134; it would be 361 if the place's 800 were light.
    assert made[21, 30] == BLACK + 900


def test_a_clipped_moon_turns_no_noise_into_hot_pixels() -> None:
    """Seen as free of noise for it, the frame lost thousands of samples that only were noisy."""
    y, x = np.mgrid[0:480, 0:720]
    light = np.where((y - 150) ** 2 + (x - 500) ** 2 < 90**2, 2.0, 0.02 + 0.05 * y / 480)
    noisy = np.random.default_rng(3).normal(light, np.sqrt(4e-4 * light + 1e-6))
    counts = np.clip(np.round(noisy * (WHITE - BLACK) + BLACK), 0, WHITE).astype(np.uint16)
    decoded = Decoded(pixels=counts, pattern=(0, 1, 1, 2), black=(float(BLACK),) * 4, white=float(WHITE))
    with Rows(1) as rows:
        cooled = sampling.cooled(decoded, 6.0, sampling.noise_of(decoded, rows), rows)
    assert np.count_nonzero(cooled != counts) < 20


def test_an_interpolated_raw_is_as_noisy_as_its_file_tells_else_as_its_speed_suggests() -> None:
    light = np.full((8, 8, 3), 0.1, np.float32)
    with Rows(1) as rows:
        told = sampling.noise_of(Decoded(pixels=light, noise=(1e-3, 1e-5), iso=800.0), rows)
        by_speed = sampling.noise_of(Decoded(pixels=light, iso=12800.0), rows)
        elsewhere = sampling.noise_of(Decoded(pixels=light), rows)
    assert (told.gain, told.read) == (1e-3, 1e-5)
    assert by_speed == noisemodel.expected(12800.0)
    assert elsewhere == noisemodel.TYPICAL


def test_a_picture_of_one_pixel_is_not_changed_by_looking_at_it() -> None:
    decoded = picture(np.full((1, 1, 3), 2.0, np.float32))
    view = framing.view_of(
        1, 1, aspect=1.0, orientation=1, straighten=None, crop=None, pixels=PixelSpec(fit=None)
    )
    with Rows(1) as rows:
        made = sampling.sampled(decoded, view, NO_LENS, np.ones(3, np.float32), rows)
    assert (made == 1).all() and (decoded.pixels == 2).all()


@pytest.mark.parametrize("size", [(8, 8), (9, 31), (64, 90), (201, 130)])
@pytest.mark.parametrize("pattern", [(0, 1, 1, 2), (1, 2, 0, 1)])
def test_cooling_while_reducing_makes_the_bits_of_cooling_before(
    size: tuple[int, int], pattern: tuple[int, int, int, int]
) -> None:
    random = np.random.default_rng(sum(size))
    mosaic = random.normal(900, 20, size).clip(0).astype(np.uint16)
    mosaic[random.uniform(size=size) > 0.97] = 9000
    decoded, noise = frame(mosaic, pattern=pattern), NoiseModel(gain=1e-3, read=1e-6)
    height, width = size
    for crop in (None, Crop(left=0.1, top=0.3, bottom=0.15)):
        for part in (2, 3.3, 5):
            fit = max(1, int(width * 0.5 / part)), max(1, int(height * 0.5 / part))
            view = framing.view_of(
                width, height, aspect=1.0, orientation=6, straighten=None, crop=crop,
                pixels=PixelSpec(fit=fit),
            )  # fmt: skip
            assert sampling.is_reduced(decoded, view, NO_LENS)
            for band in (1, 7, None):
                with Rows(2, band=band) as rows:
                    apart = replace(decoded, pixels=sampling.cooled(decoded, 6.0, noise, rows))
                    expected = sampling.sampled(apart, view, NO_LENS, OPEN, rows)
                    made = sampling.sampled(decoded, view, NO_LENS, OPEN, rows, glowing=(6.0, noise))
                assert np.array_equal(made, expected)
            assert not np.array_equal(expected, sampling_of(decoded, view))


def sampling_of(decoded: Decoded, view: framing.View) -> npt.NDArray[np.float32]:
    with Rows(1) as rows:
        return sampling.sampled(decoded, view, NO_LENS, OPEN, rows)
