"""Noise measured from a frame, and what stands in where it cannot be."""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage
from support.plain import noise as plain

from archive.engine import noisemodel
from archive.engine.kernels.rows import Rows
from archive.engine.noisemodel import NoiseModel, expected

BLACKS = np.full(4, 512, np.float32)
WHITE = 15000
SPAN = WHITE - 512
SCALES = np.full(4, 1 / SPAN, np.float32)
NOISES = [(1e-4, 1e-6), (1e-3, 1e-5)]
TOLD = NoiseModel(gain=3e-4, read=2e-6)

Light = npt.NDArray[np.float64]


def sky() -> Light:
    return np.linspace(0.005, 0.5, 768)[None, :].repeat(512, axis=0)


def counted(light: Light, gain: float, read: float, *, black: int = 512) -> npt.NDArray[np.uint16]:
    noisy = np.random.default_rng(4).normal(light, np.sqrt(gain * np.maximum(light, 0) + read))
    return np.clip(np.round(noisy * SPAN + black), 0, WHITE).astype(np.uint16)


def measured(
    mosaic: npt.NDArray[np.uint16], told: NoiseModel | None = None, iso: float = 0, black: int = 512
) -> NoiseModel:
    with Rows(1) as rows:
        blacks = np.full(4, black, np.float32)
        return noisemodel.measure(mosaic, blacks, SCALES, rows, told=told, iso=iso)


def close(model: NoiseModel, gain: float, read: float, *, within: float = 0.12) -> None:
    for light in (0.01, 0.1, 0.4):
        assert model.sigma(light) == pytest.approx(np.sqrt(gain * light + read), rel=within)


@pytest.mark.parametrize("stars", [False, True])
@pytest.mark.parametrize(("gain", "read"), NOISES)
def test_gain_and_read_noise_are_found_stars_or_not(gain: float, read: float, stars: bool) -> None:
    light = sky()
    random = np.random.default_rng(6)
    for _ in range(400 * stars):
        light[random.integers(512), random.integers(768)] += random.uniform(0.05, 1)
    close(measured(counted(light, gain, read)), gain, read)


@pytest.mark.parametrize(("gain", "read"), NOISES)
def test_clipped_parts_do_not_make_a_frame_look_free_of_noise(gain: float, read: float) -> None:
    light = sky()
    light[:, 500:] = 2
    close(measured(counted(light, gain, read)), gain, read)


def test_counts_cut_off_at_none_are_not_taken_for_calm() -> None:
    light = sky() * 0.2
    light[:256] = 0
    close(measured(counted(light, 1e-3, 1e-4, black=0), black=0), 1e-3, 1e-4)


def test_a_dark_foreground_full_of_detail_is_told_from_noise() -> None:
    light = sky() * 0.2
    drawn = ndimage.gaussian_filter(np.random.default_rng(8).normal(0, 0.06, (512, 384)), 1.5)
    light[:, :384] = np.abs(drawn) + 0.02
    close(measured(counted(light, 3e-4, 1e-6)), 3e-4, 1e-6)


@pytest.mark.parametrize("stride", [1, 2])
@pytest.mark.parametrize("size", [(160, 224), (100, 70), (32, 32)])
def test_blocks_are_told_by_plain_arithmetic(size: tuple[int, int], stride: int) -> None:
    """To a millionth of themselves: sums are whole numbers, and rounded once."""
    random = np.random.default_rng(size[0])
    light = random.gamma(0.4, 0.1, size) * np.linspace(0, 4, size[1])
    mosaic = np.clip(np.round(light * 3000), 0, 4000).astype(np.uint16)
    black, scale, highest = np.float32(40), np.float32(1 / 3960), np.float32(2500)
    out = np.empty((3, -(-(size[0] // 32) // stride), size[1] // 32), np.float32)
    noisemodel._blocks(mosaic, stride, black, scale, highest, out, 0, out.shape[1])
    expected = plain.of_blocks(mosaic, 40, 1 / 3960, 2500)[:, ::stride]
    assert np.allclose(out, expected, rtol=1e-6, atol=1e-12)


def test_what_is_told_counts_only_where_the_frame_shows_nothing() -> None:
    close(measured(counted(sky(), 1e-3, 1e-5), told=NoiseModel(gain=9e-4, read=9e-6)), 1e-3, 1e-5)
    assert measured(np.zeros((40, 40), np.uint16), TOLD) == TOLD
    assert measured(np.full((512, 512), WHITE, np.uint16), TOLD) == TOLD
    assert measured(counted(np.full((512, 512), 0.1), 1e-4, 1e-6), TOLD) == TOLD


@pytest.mark.parametrize("softness", [0.0, 1.0, 2.0])
def test_a_frame_full_of_detail_has_the_noise_that_is_told(softness: float) -> None:
    drawn = np.random.default_rng(9).normal(0, 1, (512, 768))
    drawn = ndimage.gaussian_filter(drawn, softness) if softness else drawn
    light = np.clip(0.2 + 0.06 * drawn / drawn.std(), 0, 0.9)
    assert measured(counted(light, TOLD.gain, TOLD.read), TOLD) == TOLD


def test_a_file_that_tells_too_much_noise_is_not_believed() -> None:
    close(measured(counted(sky(), 1e-4, 1e-6), NoiseModel(gain=1e-2, read=1e-4)), 1e-4, 1e-6)


def test_an_even_frame_has_the_noise_it_shows_whatever_the_iso() -> None:
    for level in (0.0, 0.05, 0.3):
        model = measured(counted(np.full((512, 768), level), 4e-4, 1e-6), iso=1600)
        assert model.sigma(level) == pytest.approx(np.sqrt(4e-4 * level + 1e-6), rel=0.05)
        assert 0 < model.gain <= expected(1600).gain


def test_without_anything_to_measure_the_iso_decides() -> None:
    assert measured(np.full((512, 512), WHITE, np.uint16), iso=1600) == expected(1600)
    assert measured(np.zeros((40, 40), np.uint16)) == noisemodel.TYPICAL
    assert expected(0) == expected(-1) == expected(float("nan")) == noisemodel.TYPICAL


def test_noise_by_iso_is_that_of_published_photon_counts() -> None:
    """ISO 12232: a sensor of speed S is full at 78 / S lx s; h, c (SI) and Km = 683 lm/W give the photons."""
    photon = 6.62607015e-34 * 2.99792458e8 / 555e-9
    for iso in (100, 1600, 12800):
        full = 78 / iso / 683 / photon * 1e-12 * 20 * 0.4
        assert expected(iso).gain == pytest.approx(1 / full, rel=0.01)
        assert expected(iso).read == pytest.approx((3 / full) ** 2, rel=0.02)


def test_the_root_of_light_is_equally_noisy_with_the_offset() -> None:
    model = NoiseModel(gain=1e-3, read=1e-5)
    random = np.random.default_rng(5)
    spreads = []
    for light in (0.02, 0.1, 0.5):
        noisy = random.normal(light, model.sigma(light), 200_000)
        spreads.append(np.sqrt(np.maximum(noisy + model.root_offset, 0)).std())
    assert max(spreads) / min(spreads) < 1.05


def test_the_line_through_variances_is_that_of_an_independent_fit() -> None:
    random = np.random.default_rng(9)
    levels = np.sort(random.uniform(0, 0.8, 24))
    spreads = (2e-4 * levels + 3e-6) * random.uniform(0.8, 1.3, 24)
    gain, read = np.polyfit(levels, spreads, 1, w=1 / spreads)
    assert noisemodel._line(levels, spreads) == pytest.approx((gain, read), rel=1e-9)
