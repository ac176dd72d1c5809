"""Gains by tone, surroundings and detail."""

import numpy as np
import pytest

from archive.engine.kernels import detail

NONE, NOWHERE = np.empty(0, np.float32), np.empty((0, 0), np.float32)
DARKEST, LOWEST, PER_STOP = np.float32(-13), np.float32(-16), np.float32(1)


def gains(  # type: ignore[no-untyped-def]
    stops: list[float],
    slope: float | None,
    regional: list[float],
    local: float,
    curve: list[float],
):
    roots = np.sqrt(2 ** np.array([stops], np.float32))
    around = (NOWHERE, NOWHERE)
    if slope is not None:
        around = np.full((1, len(stops)), slope, np.float32), np.full((1, len(stops)), -2.0, np.float32)
    out = np.empty_like(roots)
    detail.gains_of_tone(
        roots, DARKEST, *around, 0, np.array(regional, np.float32), np.float32(local),
        np.array(curve, np.float32), LOWEST, PER_STOP, out, 0, 1,
    )  # fmt: skip
    return np.log2(out[0])


def test_roots_of_luminance_are_zero_without_light() -> None:
    planes = np.array([[0.25, -1], [0.25, -1], [0.25, -1]], np.float32)[:, None, :].copy()
    out = np.empty((1, 2), np.float32)
    detail.luminance_roots(planes, out, 0, 1)
    assert np.allclose(out, [[0.5, 0]], atol=1e-6)


def test_stops_are_logarithms_of_light_held_from_below() -> None:
    out = np.empty((1, 3), np.float32)
    detail.stops_of_roots(np.array([[0.5, 0.0, 1.0]], np.float32), DARKEST, out, 0, 1)
    assert out[0].tolist() == pytest.approx([-2, -13, 0], abs=1e-5)


def test_nothing_asked_for_adds_nothing() -> None:
    assert np.abs(gains([-8.0, -3.0, 0.5], None, [], 0.0, [])).max() < 1e-6


def test_surroundings_and_then_tone_add_stops_from_their_tables() -> None:
    regional = [float(k) / 16 for k in range(23)]
    curve = [float(k) / 4 for k in range(23)]
    # Surroundings of −4 stops are slope · stops + offset = 1 · −2 − 2.
    assert gains([-2.0], 1.0, regional, 0.0, [])[0] == pytest.approx(12 / 16, abs=1e-5)
    assert gains([-2.0], None, [], 0.0, curve)[0] == pytest.approx(14 / 4, abs=1e-5)
    both = gains([-2.0], 1.0, regional, 0.0, curve)[0]
    assert both == pytest.approx(12 / 16 + (14 + 12 / 16) / 4, abs=1e-5)


def test_local_contrast_grows_small_differences_and_spares_edges_and_deep_shadow() -> None:
    # Surroundings are always −2 stops.
    small, large = gains([-1.9, 2.0], 0.0, [], 0.5, [])
    assert small == pytest.approx(0.5 * 0.1, rel=0.08)
    assert large < 0.5 * 4 * 0.4
    assert gains([-2.1], 0.0, [], 0.5, [])[0] == pytest.approx(-small, rel=1e-3)
    deep = np.empty((1, 1), np.float32)
    detail.gains_of_tone(
        np.full((1, 1), 2.0**-6, np.float32), DARKEST, np.zeros((1, 1), np.float32),
        np.full((1, 1), -12.5, np.float32), 0, NONE, np.float32(0.5), NONE, LOWEST, PER_STOP,
        deep, 0, 1,
    )  # fmt: skip
    assert deep[0, 0] == pytest.approx(1, abs=1e-6)


def test_local_contrast_spares_places_whose_surroundings_follow_an_edge() -> None:
    # Surroundings are slope · stops − 2: every one of these lies a tenth of a stop above its own.
    even, *beside = (gains([-1.9 / (1 - slope)], slope, [], 0.5, [])[0] for slope in (0.0, 0.5, 0.7))
    assert beside == pytest.approx([even * (1 - 0.25), even * (1 - 0.49)], rel=1e-3)
    assert gains([-1.9], 1.0, [], 0.5, [])[0] == pytest.approx(0, abs=1e-6)


def test_detail_is_added_above_its_floor_and_levels_off_at_edges() -> None:
    roots = np.full((1, 4), 0.5, np.float32)
    smooth = (roots - np.array([[0.001, 0.01, 0.2, -0.01]])).astype(np.float32)
    made = np.ones((1, 4), np.float32)
    detail.sharpen_gains(roots, smooth, np.float32(1), np.float32(0.002), made, 0, 1)
    added = 0.5 * np.sqrt(made[0]) - 0.5
    assert abs(added[0]) < 1e-6
    assert 0.006 < added[1] < 0.008
    assert added[2] < 0.12
    assert -0.008 < added[3] < 0


def test_colour_is_multiplied_as_a_whole() -> None:
    planes = np.ones((3, 2, 5), np.float32) * np.array([0.1, 0.2, 0.3], np.float32)[:, None, None]
    factors = np.arange(10, dtype=np.float32).reshape(2, 5)
    made = planes.copy()
    detail.multiply(made, factors, 1, 2)
    assert np.array_equal(made[:, 0], planes[:, 0])
    assert np.allclose(made[:, 1], planes[:, 1] * factors[1])
