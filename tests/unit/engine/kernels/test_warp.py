"""Planes resampled along a map, against plain sums."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import resampling as plain

from archive.engine.kernels import warp

STEP = 16
Floats = npt.NDArray[np.float64]


def grid(
    columns: int, rows: int, scale: float, angle: float, corner: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Knots of a turned and scaled map, beginning at a corner."""
    i, j = np.meshgrid(np.arange(-(-columns // STEP) + 1) * STEP, np.arange(-(-rows // STEP) + 1) * STEP)
    cosine, sine = np.cos(angle) * scale, np.sin(angle) * scale
    return corner[0] + i * cosine + j * sine, corner[1] + j * cosine - i * sine


def warped(plane: Floats, knots: tuple[Floats, Floats], shape: tuple[int, int], span: float) -> Floats:
    out = np.zeros((1, *shape), np.float32)
    each = np.float32(span)
    warp.warp(plane.astype(np.float32)[None], *knots, STEP, each, each, np.float32(1), out, 0, shape[0])
    return out[0].astype(np.float64)


@pytest.mark.parametrize("span", [0.0, 1.0, 1.3, 2.6, 7.5])
def test_a_map_without_turning_is_a_sum_of_shares(span: float) -> None:
    plane = np.random.default_rng(2).uniform(0, 1, (90, 110))
    scale = max(span, 1.0) if span else 0.98
    shape = (int(60 / scale), int(70 / scale))
    made = warped(plane, grid(shape[1], shape[0], scale, 0.0, (12.3, 13.7)), shape, span)
    rows, columns = 13.7 + np.arange(shape[0]) * scale, 12.3 + np.arange(shape[1]) * scale
    shares = plain.averaged(span) if span else plain.cubic
    down, across = (
        np.stack([shares(np.arange(count) - place) for place in places])
        for count, places in ((90, rows), (110, columns))
    )
    assert np.abs(made - down @ plane @ across.T).max() < 2e-4


@pytest.mark.parametrize(
    ("span", "other"), [(0.0, 0.0), (1.04, 1.04), (1.2, 1.2), (3.7, 3.7), (1.6, 0.0), (0.0, 2.4)]
)
@pytest.mark.parametrize("bent", [0.0, -0.1, 0.06])
@pytest.mark.parametrize("left", [-4.0, -14.0])
def test_a_curved_map_is_what_plain_arithmetic_makes(
    span: float, other: float, bent: float, left: float
) -> None:
    """To 2e-4 of clipping: places are known to 1e-5 of a sample, and noise is as steep as 2 a sample.

    A map that is turned, bent as by a lens, and reaches beyond all four sides or ends before the right one.
    """
    planes = np.random.default_rng(9).uniform(0, 1, (2, 70, 90))
    scale = max(span, other, 1.0)
    # A whole number of steps, where that is 1, so that the last knot lies just beyond the last pixel.
    shape = (int(82 / scale), int(96 / scale))
    x, y = grid(shape[1], shape[0], scale, 0.07, (left, -3.0))
    squared = ((x - 45) ** 2 + (y - 35) ** 2) / 57**2
    knots = 45 + (x - 45) * (1 + bent * squared), 35 + (y - 35) * (1 + bent * squared)
    made = np.full((2, *shape), 0.25, np.float32)
    spans = np.float32(span), np.float32(other)
    for first, last in ((0, 9), (9, shape[0])):
        warp.warp(planes.astype(np.float32), *knots, STEP, *spans, np.float32(0.5), made, first, last)
    for plane, out in zip(planes, made, strict=True):
        expected = 0.25 + 0.5 * plain.warped(plane, knots, shape, (span, other))
        assert np.abs(out - expected).max() < 2e-4


@pytest.mark.parametrize("span", [0.0, 1.4, 3.2])
@pytest.mark.parametrize("angle", [0.0, 0.02, -0.3, 0.5])
def test_a_turned_slope_stays_exact(span: float, angle: float) -> None:
    y, x = np.mgrid[0:200, 0:200]
    scale = span or 1.0
    side = int(70 / scale)
    knots = grid(side, side, scale, angle, (60.2, 70.9))
    made = warped(0.01 * x + 0.005 * y, knots, (side, side), span)
    row, column = np.mgrid[0:side, 0:side]
    cosine, sine = np.cos(angle) * scale, np.sin(angle) * scale
    expected = 0.01 * (60.2 + column * cosine + row * sine)
    expected = expected + 0.005 * (70.9 + row * cosine - column * sine)
    assert np.abs(made - expected).max() < 3e-4


def test_beyond_the_sides_the_outermost_samples_go_on() -> None:
    plane = np.full((20, 30), 0.5)
    for span in (0.0, 1.5):
        made = warped(plane, grid(40, 30, 1.0, 0.2, (-6.0, -4.0)), (30, 40), span)
        assert np.allclose(made, 0.5, atol=1e-5)


def test_a_map_of_nothing_is_exact_and_shares_add_up() -> None:
    plane = np.random.default_rng(4).uniform(0, 1, (40, 50))
    knots = grid(50, 40, 1.0, 0.0, (0.0, 0.0))
    assert np.array_equal(warped(plane, knots, (40, 50), 0.0), plane.astype(np.float32))
    out = np.zeros((2, 40, 50), np.float32)
    both = np.stack([plane, 1 - plane]).astype(np.float32)
    for share in (0.25, 0.75):
        zero = np.float32(0)
        warp.warp(both, *knots, STEP, zero, zero, np.float32(share), out, 0, 40)
    assert np.allclose(out, both, atol=1e-6)


def test_rows_do_not_depend_on_where_a_band_begins() -> None:
    plane = np.random.default_rng(5).uniform(0, 1, (80, 90)).astype(np.float32)[None]
    knots = grid(60, 50, 1.0, 0.1, (10.0, 20.0))
    whole, parts = np.zeros((1, 50, 60), np.float32), np.zeros((1, 50, 60), np.float32)
    zero, one = np.float32(0), np.float32(1)
    warp.warp(plane, *knots, STEP, zero, zero, one, whole, 0, 50)
    for first, last in ((0, 7), (7, 33), (33, 50)):
        warp.warp(plane, *knots, STEP, zero, zero, one, parts, first, last)
    assert np.array_equal(whole, parts)


def test_a_lattice_is_every_second_sample_as_light() -> None:
    mosaic = np.arange(35, dtype=np.uint16).reshape(5, 7) + 100
    out = np.empty((2, 4), np.float32)
    warp.lattice(mosaic, 1, 0, np.float32(100), np.float32(0.5), np.float32(12), out, 0, 2)
    assert out.tolist() == [[3.5, 4.5, 5.5, 6.5], [10.5, 11.5, 12, 12]]


def test_gains_grow_with_the_squared_distance() -> None:
    gains = np.empty((21, 41), np.float32)
    table = np.linspace(1, 3, 1025).astype(np.float32)
    x, y = np.meshgrid((np.arange(4) * STEP - 20) / 40, (np.arange(3) * STEP - 10) / 40)
    warp.gains_by_distance(table, x, y, STEP, gains, 0, 21)
    row, column = np.mgrid[0:21, 0:41]
    expected = 1 + 2 * (((column - 20) / 40) ** 2 + ((row - 10) / 40) ** 2)
    assert np.allclose(gains, expected, atol=1e-5)
