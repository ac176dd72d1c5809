"""Noise reduction: what goes, what stays."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import noise as plain

from archive.engine.kernels.rows import Rows
from archive.engine.noise import denoise
from archive.engine.noisemodel import NoiseModel
from archive.engine.operators.noise import ColourNoise, LuminanceNoise

GAIN, READ = 5e-4, 2e-6
OFFSET = READ / GAIN
EQUAL = np.ones(3)


def sky(level: float, *, stars: bool = False) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float64]]:
    """A noisy sky with stars of known places, and its truth. float32, (3, 256, 256)."""
    random = np.random.default_rng(12)
    truth = np.full((256, 256), level)
    if stars:
        y, x = np.mgrid[0:256, 0:256]
        for place in range(25, 250, 25):
            truth = truth + 0.02 * np.exp(-((y - place) ** 2 + (x - place) ** 2) / 2)
    planes = np.stack([truth] * 3)
    noisy = random.normal(planes, np.sqrt(GAIN * planes + READ))
    return noisy.astype(np.float32), planes


def cleaned(
    planes: npt.NDArray[np.float32], luminance: float, colour: float, gains: npt.NDArray[np.float64] = EQUAL
) -> npt.NDArray[np.float32]:
    made = planes.copy()
    with Rows(1) as rows:
        left = denoise(
            made,
            LuminanceNoise(strength=luminance) if luminance else None,
            ColourNoise(strength=colour) if colour else None,
            OFFSET, gains, 2300.0, rows,
        )  # fmt: skip
        rows.chain(left, *made.shape[1:])
    return made


def drawn(height: int, width: int) -> npt.NDArray[np.float32]:
    """A noisy night of two colours with an edge and coloured stars."""
    random = np.random.default_rng(height)
    y, x = np.mgrid[0:height, 0:width]
    light = 0.02 + 0.1 * np.array([0.4, 1.0, 0.6])[:, None, None] * np.exp(-(((x - width / 2) / 30) ** 2))
    light = np.where(y > 0.8 * height + 5 * np.sin(x / 9), 0.003, light)
    for _ in range(height * width // 1500):
        colour, at = random.uniform(0.02, 0.5, 3), random.uniform(0, 1, 2) * (height, width)
        light = light + colour[:, None, None] * np.exp(-((y - at[0]) ** 2 + (x - at[1]) ** 2) / 2)
    return random.normal(light, np.sqrt(GAIN * light + READ)).astype(np.float32)


@pytest.mark.parametrize(("luminance", "colour"), [(3.2, 5.0), (6.0, 0.0), (0.4, 0.3), (0.7, 9.0)])
@pytest.mark.parametrize(
    ("size", "diagonal"),
    [
        ((200, 250), 7200.0), ((200, 250), 300.0), ((201, 37), 2000.0), ((31, 24), 200.0), ((12, 40), 2000.0),
        ((5, 9), 10.0), ((1, 1), 2.0),
    ],
)  # fmt: skip
def test_it_is_what_plain_arithmetic_makes(
    size: tuple[int, int], diagonal: float, luminance: float, colour: float
) -> None:
    """To 1e-5 of clipping: roundings of medians and of the sums for a star come to a tenth of it."""
    planes, noise, gains = drawn(*size), NoiseModel(gain=GAIN, read=READ), np.array([2.2, 1.0, 1.6])
    made = planes.copy()
    steps = (
        LuminanceNoise(strength=luminance) if luminance else None,
        ColourNoise(strength=colour) if colour else None,
    )
    with Rows(1) as rows:
        rows.chain(denoise(made, *steps, noise.root_offset, gains, diagonal, rows), *size)
    expected = plain.calmed(planes.astype(np.float64), *steps, (GAIN, READ), gains, diagonal)
    assert np.abs(made - expected).max() < 1e-5


def test_luminance_noise_falls_and_brightness_stays() -> None:
    for level in (0.005, 0.05, 0.3):
        noisy, _ = sky(level)
        made = cleaned(noisy, 4.0, 0.0)
        before, after = noisy.mean(axis=0).std(), made.mean(axis=0).std()
        assert after < 0.6 * before
        assert abs(made.mean() / noisy.mean() - 1) < 0.02


def test_colour_noise_falls_and_no_cast_comes() -> None:
    noisy, _ = sky(0.03)
    made = cleaned(noisy, 0.0, 5.0)
    before = (noisy[0] - noisy[1]).std()
    assert (made[0] - made[1]).std() < 0.25 * before
    assert abs(made[0].mean() / made[1].mean() - 1) < 0.02


def test_faint_stars_stay_with_most_of_their_light() -> None:
    noisy, truth = sky(0.02, stars=True)
    made = cleaned(noisy, 4.0, 5.0)
    places = range(25, 250, 25)
    kept = [made[1, p - 1 : p + 2, p - 1 : p + 2].mean() - 0.02 for p in places]
    there = [truth[1, p - 1 : p + 2, p - 1 : p + 2].mean() - 0.02 for p in places]
    assert np.mean(kept) > 0.75 * np.mean(there)
    assert min(kept) > 0.4 * there[0]


def test_a_colour_edge_does_not_bleed() -> None:
    planes = np.full((3, 200, 200), 0.05, np.float32)
    planes[1, :, 100:] = 0.25
    planes[0, :, 100:] = 0.1
    noisy = np.random.default_rng(13).normal(planes, np.sqrt(GAIN * planes + READ)).astype(np.float32)
    made = cleaned(noisy, 0.0, 5.0)
    ratio = made[0] / made[1]
    assert abs(np.median(ratio[:, 90:98]) - 1) < 0.08
    assert abs(np.median(ratio[:, 102:110]) - 0.4) < 0.06


def test_no_cast_comes_where_channels_differ_in_noise() -> None:
    """Red is amplified as a balance does; smoothing its roots would leave it darker than it is."""
    level, gain = 0.01, 2.5
    planes = np.full((3, 256, 256), level)
    spread = np.sqrt(GAIN * planes + READ) * np.array([gain, 1, gain / 1.5])[:, None, None]
    noisy = np.random.default_rng(14).normal(planes, spread).astype(np.float32)
    for luminance, colour in ((4.0, 0.0), (0.0, 7.0), (4.0, 7.0)):
        made = cleaned(noisy, luminance, colour).mean(axis=(1, 2))
        assert np.abs(made / np.maximum(noisy, -OFFSET).mean(axis=(1, 2)) - 1).max() < 0.02


def test_noise_of_reading_leaves_no_pepper_in_the_dark_of_balanced_frames() -> None:
    """A balance makes it as much stronger as it makes light itself, which alone is so by its root only."""
    gains = np.array([2.2, 1.0, 1.6])
    planes = np.full((3, 256, 512), 0.15)
    planes[:, :, 256:] = 2e-4
    k = gains[:, None, None]
    noise = np.sqrt(k * GAIN * planes + k**2 * READ)
    noisy = np.random.default_rng(20).normal(planes, noise).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5, gains)
    bright, dark = (
        ((made - planes)[1, 20:-20, part].std() / noise[1, 0, part.start])
        for part in (np.s_[20:236], np.s_[276:492])
    )
    assert dark < 1.5 * bright


def test_flux_of_stars_stays_within_a_twentieth() -> None:
    random = np.random.default_rng(15)
    y, x = np.mgrid[0:300, 0:300]
    truth = np.full((300, 300), 0.02)
    places = [(i, j) for i in range(20, 290, 30) for j in range(20, 290, 30)]
    for number, (cy, cx) in enumerate(places):
        truth = truth + (0.04 + 0.01 * (number % 20)) * np.exp(-((y - cy) ** 2 + (x - cx) ** 2) / 2.5)
    planes = np.stack([truth] * 3)
    noisy = random.normal(planes, np.sqrt(GAIN * planes + READ)).astype(np.float32)
    made = cleaned(noisy, 3.2, 7.0)
    flux = [
        [each[1, cy - 5 : cy + 6, cx - 5 : cx + 6].sum() - 121 * 0.02 for cy, cx in places]
        for each in (made, planes)
    ]
    assert abs(np.sum(flux[0]) / np.sum(flux[1]) - 1) < 0.05
    assert np.median(np.abs(np.array(flux[0]) / flux[1] - 1)) < 0.05


def test_colours_of_stars_stay() -> None:
    y, x = np.mgrid[0:200, 0:200]
    star = sum(np.exp(-((y - p) ** 2 + (x - p) ** 2) / 3) for p in range(20, 190, 40))
    planes = 0.01 + np.array([0.5, 0.3, 0.12])[:, None, None] * star
    noisy = np.random.default_rng(16).normal(planes, np.sqrt(GAIN * planes + READ)).astype(np.float32)
    made = cleaned(noisy, 3.2, 7.0)
    for p in range(20, 190, 40):
        core = made[:, p - 1 : p + 2, p - 1 : p + 2].mean(axis=(1, 2)) - 0.01
        assert abs(core[0] / core[1] / (0.5 / 0.3) - 1) < 0.12
        assert abs(core[2] / core[1] / (0.12 / 0.3) - 1) < 0.2


def test_noise_goes_beside_hard_edges_and_they_stay() -> None:
    """It stayed along them, within two pixels, because so much varies there."""
    planes = np.full((3, 200, 240), 0.02)
    planes[:, 60:140, 80:170] = 0.5
    noisy = np.random.default_rng(17).normal(planes, np.sqrt(GAIN * planes + READ)).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5)
    within, without = np.s_[1, 60:62, 84:166], np.s_[1, 56:60, 84:166]
    for part in (within, without):
        assert made[part].std() < 0.5 * noisy[part].std()
        assert abs(made[part].mean() / planes[part].mean() - 1) < 0.05


def test_a_colour_edge_without_one_in_brightness_stays() -> None:
    planes = np.full((3, 200, 200), 0.1)
    # The weighted mean of the roots is the same on both sides, near enough.
    planes[0, :, 100:], planes[2, :, 100:] = 0.25, 0.02
    noisy = np.random.default_rng(18).normal(planes, np.sqrt(GAIN * planes + READ)).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5)
    for side, ratio in (((90, 97), 1.0), ((103, 110), 12.5)):
        part = made[:, :, slice(*side)].mean(axis=(1, 2))
        assert abs(part[0] / part[2] / ratio - 1) < 0.15


@pytest.mark.parametrize("colour", [(1.0, 1.0, 1.0), (1.0, 0.8, 0.5), (0.7, 0.85, 1.0)])
def test_stars_before_green_curtains_are_not_green(colour: tuple[float, float, float]) -> None:
    """Where what is brighter is greener, a star was taken for more of it."""
    y, x = np.mgrid[0:300, 0:300]
    curtain = 0.5 + 0.5 * np.sin(x / 9.0 + y / 60.0)
    truth = np.stack([0.02 + share * curtain for share in (0.004, 0.05, 0.012)])
    places = [(i, j) for i in range(20, 290, 30) for j in range(20, 290, 30)]
    stars = sum(np.exp(-((y - cy) ** 2 + (x - cx) ** 2) / 2.5) for cy, cx in places)
    lit = truth + 0.25 * np.array(colour)[:, None, None] * stars
    noisy = np.random.default_rng(16).normal(lit, np.sqrt(GAIN * lit + READ)).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5)
    light = np.array(
        [(made - truth)[:, cy - 3 : cy + 4, cx - 3 : cx + 4].sum(axis=(1, 2)) for cy, cx in places]
    )
    ratios = np.median(light[:, [0, 2]] / light[:, [1]], axis=0)
    assert np.abs(ratios / (np.array(colour)[[0, 2]] / colour[1]) - 1).max() < 0.12


def test_noise_is_taken_up_to_the_rim() -> None:
    """Combs of colour ran along all borders: repeated samples gathered their noise in few coefficients."""
    noisy = np.random.default_rng(21).normal(0.1, 0.01, (3, 200, 240)).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5)
    for turned in (made, made[:, ::-1], made.transpose(0, 2, 1), made.transpose(0, 2, 1)[:, ::-1]):
        rim, inside = turned[:, :2], turned[:, 30:-30]
        assert rim[1].std() < 2 * inside[1].std()
        assert (rim[0] - rim[1]).std() < 3 * (inside[0] - inside[1]).std()


def test_dead_black_around_a_round_picture_hides_no_noise() -> None:
    """A quarter or half of an all-sky frame is black without grain: noise was measured there, as none."""
    y, x = np.mgrid[0:240, 0:360]
    inside = (y - 120) ** 2 + (x - 180) ** 2 < 118**2
    noisy = np.random.default_rng(22).normal(0.1, 0.01, (3, 240, 360))
    noisy = np.where(inside, noisy, 0).astype(np.float32)
    made = cleaned(noisy, 3.2, 3.5)
    sky = (y - 120) ** 2 + (x - 180) ** 2 < 90**2
    assert made[1][sky].std() < 0.2 * noisy[1][sky].std()
    assert abs(made[:, sky].mean() / 0.1 - 1) < 0.01
    # A level of 255 is 3e-4.
    assert np.abs(made[:, (y < 20) & (x < 30)]).max() < 3e-4


def test_drawings_without_noise_stay_as_they_are() -> None:
    drawn = np.full((3, 200, 240), 0.02, np.float32)
    drawn[:, 40:160:24, 30:200] = 0.6
    drawn[0, 60:120, 100:104] = 0.3
    assert np.abs(cleaned(drawn, 3.2, 3.5) - drawn).max() < 1e-5
