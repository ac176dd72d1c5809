"""Single glowing samples, and what must not be taken for one."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import mosaic as plain

from archive.engine.kernels import hotpixels

BLACKS = np.full(4, 512, np.float32)


def replaced(mosaic: npt.NDArray[np.uint16], reach: float = 8.0) -> npt.NDArray[np.uint16]:
    out = mosaic.copy()
    hotpixels.replace(
        mosaic, BLACKS, np.float32(reach), np.float32(1), np.float32(25), out, 0, mosaic.shape[0]
    )
    return out


def sky() -> npt.NDArray[np.uint16]:
    return np.random.default_rng(1).poisson(100, (40, 50)).astype(np.uint16) + np.uint16(512)


def test_a_lonely_sample_becomes_the_mean_of_its_neighbours_of_one_colour() -> None:
    mosaic = sky()
    mosaic[20, 30] = 5000
    made = replaced(mosaic)
    around = [int(mosaic[18, 30]), int(mosaic[22, 30]), int(mosaic[20, 28]), int(mosaic[20, 32])]
    assert made[20, 30] == (sum(around) + 2) // 4
    made[20, 30] = 5000
    assert np.array_equal(made, mosaic)


def test_stars_stay_down_to_barely_sampled_ones() -> None:
    y, x = np.mgrid[0:40, 0:50]
    for sigma in (0.7, 1.0, 1.6):
        for peak in (300, 3000, 14000):
            star = peak * np.exp(-((y - 20.0) ** 2 + (x - 25.0) ** 2) / (2 * sigma**2))
            mosaic = (sky() + star).astype(np.uint16)
            assert np.array_equal(replaced(mosaic), mosaic)


def test_noise_alone_is_left() -> None:
    mosaic = np.random.default_rng(2).poisson(400, (300, 300)).astype(np.uint16) + np.uint16(512)
    assert np.array_equal(replaced(mosaic, 6.0), mosaic)


def test_other_rows_are_untouched() -> None:
    mosaic = sky()
    mosaic[20, 20] = mosaic[30, 30] = 9000
    out = np.zeros_like(mosaic)
    hotpixels.replace(mosaic, BLACKS, np.float32(8), np.float32(1), np.float32(25), out, 25, 40)
    assert not out[:25].any()
    assert out[30, 30] < 1000


@pytest.mark.parametrize(
    "place", [(0, 0), (0, 49), (39, 0), (39, 49), (1, 1), (1, 20), (0, 21), (17, 48), (38, 30), (16, 49)]
)
def test_a_lonely_sample_of_the_rim_is_replaced_too(place: tuple[int, int]) -> None:
    plain = sky()
    mosaic = plain.copy()
    mosaic[place] = 9000
    made = replaced(mosaic)
    # At the rim the neighbour opposite stands for the one that is missing.
    row, column = place
    rows = [row + step if 0 <= row + step < 40 else row - step for step in (-2, 2)]
    columns = [column + step if 0 <= column + step < 50 else column - step for step in (-2, 2)]
    around = [int(plain[each, column]) for each in rows] + [int(plain[row, each]) for each in columns]
    assert made[place] == (sum(around) + 2) // 4
    made[place] = plain[place]
    assert np.array_equal(made, plain)


def test_a_star_at_the_rim_stays() -> None:
    y, x = np.mgrid[0:40, 0:50]
    for at in ((0, 25), (20, 0), (39, 49), (1, 30)):
        star = 6000 * np.exp(-((y - at[0]) ** 2 + (x - at[1]) ** 2) / (2 * 0.8**2))
        mosaic = (sky() + star).astype(np.uint16)
        assert np.array_equal(replaced(mosaic), mosaic)


def test_light_is_counted_from_the_black_of_its_own_place() -> None:
    """A place whose black is higher is neither hot for that, nor judged by the noise of more light."""
    mosaic = np.full((20, 24), 600, np.uint16)
    mosaic[1::2, 1::2] = 1600
    mosaic[11, 13] = 1600 + 42
    out = mosaic.copy()
    blacks = np.array([512, 512, 512, 1512], np.float32)
    hotpixels.replace(mosaic, blacks, np.float32(3), np.float32(1), np.float32(25), out, 0, 20)
    # 42 above 88 counts of light, whose noise is √113 = 10.6; of 1088 counts it would be 33.
    assert out[11, 13] == 1600
    out[11, 13] = 1642
    assert np.array_equal(out, mosaic)


def test_a_stars_flux_stays_within_five_percent() -> None:
    """Stars of many sharpnesses and places, as sharp as a good lens draws them, keep their light."""
    random = np.random.default_rng(8)
    y, x = np.mgrid[0:260, 0:260]
    light = np.full((260, 260), 700.0)
    places = [(20 + 20 * i, 20 + 20 * j) for i in range(12) for j in range(12)]
    for row, column in places:
        sigma, peak = random.uniform(0.75, 2.0), random.uniform(300, 9000)
        at_y, at_x = row + random.uniform(-0.5, 0.5), column + random.uniform(-0.5, 0.5)
        light += peak * np.exp(-((y - at_y) ** 2 + (x - at_x) ** 2) / (2 * sigma**2))
    mosaic = np.round(random.normal(light, 4)).astype(np.uint16)
    made = replaced(mosaic).astype(np.float64)
    for row, column in places:
        part = np.s_[row - 8 : row + 9, column - 8 : column + 9]
        before = (mosaic[part] - 700.0).sum()
        assert abs((made[part] - 700.0).sum() / before - 1) < 0.05


@pytest.mark.parametrize("slope", [0.0, 0.6, 40.0, 4000.0])
@pytest.mark.parametrize("reach", [1.5, 3.0, 12.0, 90.0])
def test_the_first_look_passes_nothing_that_glows(slope: float, reach: float) -> None:
    """Whatever is sorted out in whole numbers must not have stood out: dark, bright and clipped frames.

    Exactly what plain arithmetic makes, the rim too: nothing but whole numbers comes out.
    """
    random = np.random.default_rng(int(slope) + int(10 * reach))
    blacks = np.array([511.5, 512, 500, 520], np.float32)
    for most, read in ((700, 3.0), (16383, 30.0), (65535, 900.0), (65535, 0.0)):
        light = random.integers(0, 2, (34, 300)) * random.gamma(0.4, most / 4, (34, 300))
        mosaic = np.clip(520 + light + random.normal(0, 8, light.shape), 0, most).astype(np.uint16)
        out = np.empty_like(mosaic)
        asked = (np.float32(each) for each in (reach, slope, read))
        hotpixels.replace(mosaic, blacks, *asked, out, 0, 34)
        assert np.array_equal(out, plain.cooled(mosaic, blacks, reach, slope, read))
        assert slope > 40 or reach > 12 or not np.array_equal(out, mosaic)


@pytest.mark.parametrize("size", [(8, 8), (9, 13), (12, 140)])
def test_small_frames_are_what_plain_arithmetic_makes_to_the_rim(size: tuple[int, int]) -> None:
    random = np.random.default_rng(size[1])
    for _ in range(40):
        light = random.normal(560, 6, size)
        light[random.uniform(0, 1, size) > 0.93] += random.choice([40, 400, 9000])
        mosaic = np.clip(light, 0, 65535).astype(np.uint16)
        assert np.array_equal(replaced(mosaic), plain.cooled(mosaic, BLACKS, 8, 1, 25))
