"""Photons in, electrons out: the demo's light against published brightness of sky, stars and aurora."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import radiometry


def test_light_one_fills_the_well_of_every_sensor_at_the_usual_exposure() -> None:
    for width in (840, 3000, 6000):
        side = radiometry.side_um(width)
        radiance = 1.0 / radiometry.light(1.0)
        electrons = radiometry.electrons(radiance, side, radiometry.USUAL_F, radiometry.USUAL_S)
        assert electrons == pytest.approx(radiometry.full_well(width))


def test_bright_aurora_just_clips_at_the_usual_exposure() -> None:
    # International Brightness Coefficient III is 100 kR of 557.7 nm, I is 1 kR (Hunten 1955).
    assert radiometry.kilorayleigh(100) == pytest.approx(1, rel=0.1)
    assert radiometry.kilorayleigh(1) == pytest.approx(0.01, rel=0.1)


def test_a_rayleigh_is_a_million_photons_a_square_centimetre_into_all_directions() -> None:
    # Hunten, Roach and Chamberlain 1956: 4 pi times the radiance is 1e6 photons per cm2 and second.
    assert 4 * np.pi * radiometry.RAYLEIGH == pytest.approx(1e6 * 1e4)


def test_the_dark_sky_has_about_a_hundredth_of_a_strong_aurora() -> None:
    # 21.6 mag per square arc second against 100 kR.
    assert 0.006 < radiometry.sky_light(21.6) < 0.016
    assert radiometry.sky_light(20.6) / radiometry.sky_light(21.6) == pytest.approx(10**0.4)


def test_a_24_megapixel_full_frame_has_photosites_of_six_micrometres() -> None:
    assert radiometry.side_um(6000) == pytest.approx(6.0)
    assert radiometry.full_well(6000, 100) == pytest.approx(72_000)
    assert radiometry.side_um(840) == radiometry.LARGEST_UM


def test_electrons_grow_with_area_time_and_the_square_of_the_aperture() -> None:
    one = radiometry.electrons(1e12, 6.0, 2.0, 10.0)
    assert radiometry.electrons(1e12, 12.0, 2.0, 10.0) == pytest.approx(4 * one)
    assert radiometry.electrons(1e12, 6.0, 2.0, 20.0) == pytest.approx(2 * one)
    assert radiometry.electrons(1e12, 6.0, 4.0, 10.0) == pytest.approx(one / 4)
