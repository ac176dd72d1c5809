"""Single glowing samples, and what must not be taken for one."""

import numpy as np
import numpy.typing as npt

from archive.engine.kernels import hotpixels

BLACK = np.float32(512)


def replaced(mosaic: npt.NDArray[np.uint16], reach: float = 8.0) -> npt.NDArray[np.uint16]:
    out = mosaic.copy()
    hotpixels.replace(
        mosaic, BLACK, np.float32(reach), np.float32(1), np.float32(25), out, 0, mosaic.shape[0]
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


def test_the_rim_and_other_rows_are_untouched() -> None:
    mosaic = sky()
    mosaic[0, 0] = mosaic[1, 20] = mosaic[39, 49] = 9000
    assert np.array_equal(replaced(mosaic), mosaic)
    mosaic[20, 20] = mosaic[30, 30] = 9000
    out = mosaic.copy()
    hotpixels.replace(mosaic, BLACK, np.float32(8), np.float32(1), np.float32(25), out, 25, 40)
    assert out[20, 20] == 9000
    assert out[30, 30] < 1000


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
