"""Electrons and numbers: mean, variance, flaws and colour of simulated exposures."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import numpy as np
import pytest

from archive.demo import radiometry
from archive.demo.night import NORTH, RIVER
from archive.demo.rawfile import PATTERNS
from archive.demo.sensor import Sensor, camera_matrix, quick_look

USUAL = {"exposure_s": Fraction(8), "f_number": Fraction(9, 5), "iso": 3200}
FLAT = Sensor(body=NORTH.body, width=6000, diagonal=0.0)


def grey(level: float, shape: tuple[int, int] = (240, 320)) -> np.ndarray:
    return np.full((*shape, 3), level, np.float32)


def green(mosaic: np.ndarray) -> np.ndarray:
    return np.concatenate([mosaic[0::2, 1::2].ravel(), mosaic[1::2, 0::2].ravel()]).astype(np.float64)


def test_mean_and_variance_follow_the_noise_profile_in_the_file() -> None:
    values = green(FLAT.expose(grey(0.2), frame=1, seed=1, **USUAL))
    span = NORTH.body.white - NORTH.body.black
    values = (values[values < np.quantile(values, 0.999)] - NORTH.body.black) / span
    slope, floor = FLAT.noise_profile(3200)
    assert values.mean() == pytest.approx(0.2, rel=0.005)
    assert values.var() == pytest.approx(slope * 0.2 + floor, rel=0.05)


def test_variance_grows_with_the_mean_by_the_gain_from_the_read_noise_up() -> None:
    # Photon transfer (Janesick 2007): variance = gain x mean + (gain x read noise)^2, in camera numbers.
    body, gain = NORTH.body, FLAT.gain(3200)
    means, variances = [], []
    for level in (0.0, 0.02, 0.05, 0.1, 0.2, 0.4):
        values = green(FLAT.expose(grey(level), frame=1, seed=1, **USUAL)) - body.black
        values = values[values < np.quantile(values, 0.999)]
        means.append(values.mean())
        variances.append(values.var())
    slope, floor = np.polyfit(means, variances, 1)
    assert slope == pytest.approx(gain, rel=0.04)
    # Rounding to whole numbers adds a twelfth; dark current adds to the mean as light does.
    assert floor == pytest.approx((gain * 3.0) ** 2 + 1 / 12, rel=0.15)


def test_an_aurora_of_ten_kilorayleigh_leaves_a_tenth_of_the_full_well() -> None:
    # 10 kR of 557.7 nm on 6 um behind f/1.8 for 8 s, 40 % of it caught: 1e10 / 4 pi photons per R, m2, sr, s.
    photons = 1e4 * 1e10 / (4 * np.pi) * 36e-12 * np.pi / (4 * 1.8**2) * 8
    values = green(FLAT.expose(grey(radiometry.kilorayleigh(10)), frame=1, seed=1, **USUAL))
    electrons = (np.median(values) - NORTH.body.black) / FLAT.gain(3200)
    assert electrons == pytest.approx(0.40 * photons, rel=0.02)
    assert FLAT.full_e == pytest.approx(2250)


def test_light_one_at_the_usual_exposure_just_reaches_the_white_level() -> None:
    almost = green(FLAT.expose(grey(0.93), frame=1, seed=1, **USUAL))
    assert np.median(almost) < NORTH.body.white
    assert np.median(green(FLAT.expose(grey(1.1), frame=1, seed=1, **USUAL))) == NORTH.body.white


def test_a_stop_is_a_stop_in_time_aperture_and_sensitivity() -> None:
    def level(**changes: object) -> float:
        shot = FLAT.expose(grey(0.1), frame=1, seed=1, **{**USUAL, **changes})
        return float(np.median(green(shot)) - NORTH.body.black)

    assert level(exposure_s=Fraction(16)) / level() == pytest.approx(2, rel=0.01)
    assert level(iso=6400) / level() == pytest.approx(2, rel=0.01)
    assert level(f_number=Fraction(36, 10)) / level() == pytest.approx(1 / 4, rel=0.02)


def test_noise_is_new_in_every_frame_and_hot_pixels_stay_with_the_body() -> None:
    dark = [FLAT.expose(grey(0.0, (400, 400)), frame=frame, seed=1, **USUAL) for frame in (1, 2)]
    hot = [set(np.flatnonzero(shot.ravel() > NORTH.body.black + 300)) for shot in dark]
    assert hot[0] == hot[1] and hot[0]
    assert (dark[0] != dark[1]).mean() > 0.8
    other = Sensor(body=dataclasses.replace(NORTH.body, serial="KV600318"), width=6000, diagonal=0.0)
    shot = other.expose(grey(0.0, (400, 400)), frame=1, seed=1, **USUAL)
    assert set(np.flatnonzero(shot.ravel() > NORTH.body.black + 300)) != hot[0]


def test_noise_has_no_pattern_between_neighbours() -> None:
    shot = FLAT.expose(grey(0.3, (400, 400)), frame=3, seed=9, **USUAL)[0::2, 1::2].astype(np.float64)
    noise = np.clip(shot - np.median(shot), -500, 500)
    for shift in ((0, 1), (1, 0), (1, 1)):
        moved = np.roll(noise, shift, (0, 1))
        assert abs((noise * moved).mean() / noise.var()) < 0.02


def test_the_lens_darkens_corners_and_never_the_middle() -> None:
    wide = Sensor(body=NORTH.body, width=6000, diagonal=1.1)
    shot = wide.expose(grey(0.4), frame=1, seed=1, **USUAL).astype(np.float64) - NORTH.body.black
    middle, corner = np.median(shot[110:130:2, 151:171:2]), np.median(shot[:20:2, 1:21:2])
    assert 0.3 < corner / middle < 0.7


@pytest.mark.parametrize("camera", [NORTH, RIVER], ids=["north", "river"])
def test_white_light_gives_the_as_shot_neutral(camera: object) -> None:
    np.testing.assert_allclose(camera_matrix(camera.body) @ np.ones(3), camera.body.neutral)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_quick_look_shows_the_colour_that_was_photographed(pattern: str) -> None:
    body = dataclasses.replace(NORTH.body, pattern=pattern)
    sensor = Sensor(body=body, width=960, diagonal=0.0)
    light = np.broadcast_to(np.array([0.10, 0.40, 0.20], np.float32), (64, 96, 3))
    look = quick_look(sensor.expose(np.ascontiguousarray(light), frame=1, seed=1, **USUAL), body)
    linear = np.array([0.10, 0.40, 0.20])
    expected = 255 * (1.055 * linear ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    np.testing.assert_allclose(np.median(look.reshape(-1, 3), axis=0), expected, atol=3)


def test_odd_sides_are_refused() -> None:
    with pytest.raises(ValueError, match="even"):
        FLAT.expose(grey(0.1, (5, 6)), frame=1, seed=1, **USUAL)
