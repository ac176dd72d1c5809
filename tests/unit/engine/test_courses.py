"""Smooth courses against what they are made to keep and to leave out."""

from __future__ import annotations

import numpy as np
import pytest

from archive.engine.courses import (
    averaged,
    curved,
    roughness,
    running_median,
    scatter,
    smoothed,
    without_lamps,
)

TIME = np.arange(200.0)


def test_scatter_and_roughness_are_the_deviation_of_white_noise() -> None:
    noise = np.random.default_rng(5).normal(0, 0.1, 4000)
    assert scatter(np.diff(noise)) == pytest.approx(0.1, rel=0.05)
    assert np.median(roughness(noise)) == pytest.approx(0.1, rel=0.05)
    assert scatter(np.zeros(0)) == 0.0


def test_roughness_hardly_sees_a_smooth_peak() -> None:
    peak = np.exp(-(((TIME - 100) / 15) ** 2))
    assert roughness(peak).max() < scatter(np.diff(peak)[80:120]) / 5


def test_means_and_lines_keep_a_line_and_parabolas_a_parabola() -> None:
    line, parabola = 3 + 0.1 * TIME, (TIME - 100) ** 2 / 50
    assert np.allclose(averaged(line, 31, onward=True), line)
    assert np.allclose(smoothed(line, 61), line)
    assert np.allclose(curved(parabola, 15)[7:-7], parabola[7:-7])


def test_a_lamp_of_two_frames_is_left_out_and_a_peak_of_minutes_stays() -> None:
    peak = 2 * np.exp(-(((TIME - 100) / 8) ** 2))
    lit = peak.copy()
    lit[[50, 51]] += 1.5
    assert np.allclose(without_lamps(lit), peak, atol=1e-3)
    assert np.array_equal(without_lamps(peak), peak)


def test_a_running_median_is_that_of_each_window() -> None:
    values = np.random.default_rng(2).normal(size=(30, 3))
    found = running_median(values, 5)
    assert all(np.array_equal(found[at], np.median(values[at - 2 : at + 3], axis=0)) for at in range(2, 28))
