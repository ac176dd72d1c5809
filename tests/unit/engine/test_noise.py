"""Noise reduction: what goes, what stays."""

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.rows import Rows
from archive.engine.noise import denoise
from archive.engine.operators.noise import ColourNoise, LuminanceNoise

GAIN, READ = 5e-4, 2e-6
OFFSET = READ / GAIN


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


def cleaned(planes: npt.NDArray[np.float32], luminance: float, colour: float) -> npt.NDArray[np.float32]:
    made = planes.copy()
    with Rows(1) as rows:
        denoise(
            made,
            LuminanceNoise(strength=luminance) if luminance else None,
            ColourNoise(strength=colour) if colour else None,
            OFFSET, 2300.0, rows,
        )  # fmt: skip
    return made


def test_luminance_noise_falls_and_brightness_stays() -> None:
    for level in (0.005, 0.05, 0.3):
        noisy, _ = sky(level)
        made = cleaned(noisy, 2.0, 0.0)
        before, after = noisy.mean(axis=0).std(), made.mean(axis=0).std()
        assert after < 0.6 * before
        assert abs(made.mean() / noisy.mean() - 1) < 0.02


def test_colour_noise_falls_and_no_cast_comes() -> None:
    noisy, _ = sky(0.03)
    made = cleaned(noisy, 0.0, 3.0)
    before = (noisy[0] - noisy[1]).std()
    assert (made[0] - made[1]).std() < 0.25 * before
    assert abs(made[0].mean() / made[1].mean() - 1) < 0.02


def test_faint_stars_stay_with_most_of_their_light() -> None:
    noisy, truth = sky(0.02, stars=True)
    made = cleaned(noisy, 2.0, 3.0)
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
    made = cleaned(noisy, 0.0, 3.0)
    ratio = made[0] / made[1]
    assert abs(np.median(ratio[:, 90:98]) - 1) < 0.08
    assert abs(np.median(ratio[:, 102:110]) - 0.4) < 0.06
