"""Gains by tone, surroundings and detail."""

from itertools import product

import numpy as np
import pytest
from support.plain import tone as plain
from support.plain.light import luminance
from support.plain.planes import grown

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


def test_roots_and_stops_are_those_of_plain_arithmetic() -> None:
    """Roots to a few millionths of themselves, stops to some of one, as near as logarithms are."""
    random = np.random.default_rng(2)
    level = 2.0 ** random.uniform(-24, 3, (30, 41))
    planes = (random.normal(0.3, 0.5, (3, 30, 41)) * level).astype(np.float32)
    roots, stops = np.empty((30, 41), np.float32), np.empty((30, 41), np.float32)
    detail.luminance_roots(planes, roots, 0, 30)
    light, size = luminance(planes), np.abs(planes).max(axis=0)
    assert (np.abs(roots.astype(np.float64) ** 2 - np.maximum(light, 0)) < 5e-7 * size).all()
    detail.stops_of_roots(roots, DARKEST, stops, 0, 30)
    assert np.abs(stops - plain.stops(roots.astype(np.float64))).max() < 5e-6


WAYS = list(product((False, True), (0.0, -0.9, 1.5), (False, True)))


@pytest.mark.parametrize("doublings", [0, 1, 3])
@pytest.mark.parametrize(("by_region", "local", "by_tone"), WAYS)
def test_gains_are_those_of_plain_arithmetic(
    doublings: int, by_region: bool, local: float, by_tone: bool
) -> None:
    """To 5e-5 of themselves: stops below 16 are known to some 2e-6, and tables add one for each at most.

    Tones reach beyond both ends of the tables, slopes below 0 and above 1, surroundings into deepest shadow.
    """
    random = np.random.default_rng(doublings)
    roots = np.sqrt(2 ** random.uniform(-15, 8, (43, 54))).astype(np.float32)
    small = -(-43 // 2**doublings), -(-54 // 2**doublings)
    slope = random.uniform(-0.2, 1.2, small).astype(np.float32)
    offset = (random.uniform(-14, 6, small) * (1 - slope)).astype(np.float32)
    around = (slope, offset) if by_region or local else (NOWHERE, NOWHERE)
    table = np.cumsum(random.uniform(-1, 1, 22 * 32 + 1)) / 32
    regional, curve = (table if wanted else None for wanted in (by_region, by_tone))
    made = np.empty_like(roots)
    tables = [NONE if each is None else each.astype(np.float32) for each in (regional, curve)]
    detail.gains_of_tone(
        roots, DARKEST, *around, doublings, tables[0], np.float32(local), tables[1], LOWEST, np.float32(32),
        made, 0, 43,
    )  # fmt: skip
    whole = [grown(each.astype(np.float64), doublings, roots.shape) if each.size else None for each in around]
    own = plain.stops(roots.astype(np.float64))
    expected = 2 ** plain.added(own, *whole, regional, local, curve)
    assert (np.abs(made - expected) < 5e-5 * expected).all()


@pytest.mark.parametrize("amount", [0.0, 0.4, 3.0])
@pytest.mark.parametrize("floor", [0.0, 0.003, 0.2])
def test_sharper_gains_are_those_of_plain_arithmetic(amount: float, floor: float) -> None:
    """To a hundred-thousandth: detail is a difference of roots as small as a thousandth of them."""
    random = np.random.default_rng(5)
    roots = random.choice([0, 0.001, 0.01, 0.3, 1.2], (40, 50)) * random.uniform(0.5, 1.5, (40, 50))
    smooth = roots + random.choice([0, 0.001, 0.02, 0.4], (40, 50)) * random.normal(0, 1, (40, 50))
    roots, smooth, before = (
        np.float32(roots),
        np.float32(smooth),
        np.float32(random.uniform(0.5, 2, (40, 50))),
    )
    made = before.copy()
    detail.sharpen_gains(roots, smooth, np.float32(amount), np.float32(floor), made, 0, 40)
    expected = before * plain.sharpened(np.float64(roots), np.float64(smooth), amount, floor)
    assert (np.abs(made - expected) < 1e-5 * expected).all()
