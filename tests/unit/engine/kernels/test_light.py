"""Passes on single pixels."""

import numpy as np
import numpy.typing as npt
import pytest

from archive.engine import curves
from archive.engine.kernels import light


def planes(*colours: tuple[float, float, float]) -> npt.NDArray[np.float32]:
    return np.ascontiguousarray(np.array(colours, np.float32).T[:, None, :])


def test_balance_multiplies_and_leaves_unclipped_light_alone() -> None:
    gains = np.array([2, 1, 1.5], np.float32)
    for rebuild in (False, True):
        made = planes((0.1, 0.2, 0.3), (0.5, 0.8, 0.1))
        light.balance(made, gains, rebuild, 0, 1)
        assert np.allclose(made[:, 0].T, [[0.2, 0.2, 0.45], [1.0, 0.8, 0.15]])


@pytest.mark.parametrize(
    ("camera", "expected"),
    [
        ((0.7, 1.0, 0.8), (1.4, 1.3, 1.2)),
        ((1.0, 1.0, 1.0), (2.0, 2.0, 2.0)),
        ((0.3, 1.0, 0.4), (0.6, 1.0, 0.6)),
    ],
)
def test_clipped_channels_are_rebuilt_without_a_cast(
    camera: tuple[float, float, float], expected: tuple[float, float, float]
) -> None:
    made = planes(camera)
    light.balance(made, np.array([2, 1, 1.5], np.float32), True, 0, 1)
    assert np.allclose(made[:, 0, 0], expected, atol=1e-6)


def test_matrix_scale_and_corner_gain() -> None:
    made = planes((0.1, 0.2, 0.3))
    matrix = np.array([[1, 2, 3], [0, 1, 0], [-1, 0, 1]], np.float32)
    light.apply_matrix(made, matrix, 0, 1)
    assert np.allclose(made[:, 0, 0], [1.4, 0.2, 0.2])
    light.scale(made, np.float32(0.5), 0, 1)
    assert np.allclose(made[:, 0, 0], [0.7, 0.1, 0.1])
    field = np.ones((3, 5, 5), np.float32)
    step = np.float32(2 / 4 / np.sqrt(2))
    light.brighten_corners(
        field, curves.corner_gain(1.0, 2.0), np.float32(-2 * step), np.float32(-2 * step), step, step, 0, 5
    )
    assert np.allclose(field[1], field[1].T)
    assert field[0, 2, 2] == 1
    assert field[0, 0, 0] == pytest.approx(2, rel=1e-4)


def test_stops_are_logarithms_of_luminance_held_from_below() -> None:
    out = np.empty((1, 3), np.float32)
    light.stops_of_luminance(planes((0.5, 0.5, 0.5), (0, 0, 0), (-1, -1, -1)), np.float32(-12), out, 0, 1)
    assert out[0].tolist() == pytest.approx([-1, -12, -12], abs=1e-5)


def test_gains_come_from_the_table_between_its_entries() -> None:
    made = planes((0.2, 0.4, 0.6), (0.2, 0.4, 0.6))
    table = np.array([1, 2, 4], np.float32)
    stops = np.array([[-1.5, 9]], np.float32)
    light.apply_gain_table(made, stops, table, np.float32(-2), np.float32(1), 0, 1)
    assert np.allclose(made[:, 0].T, [[0.3, 0.6, 0.9], [0.8, 1.6, 2.4]])


def test_chroma_keeps_luminance_and_can_take_all_colour() -> None:
    start = planes((0.2, 0.5, 0.1))
    before = float(light.luminance.py_func(*start[:, 0, 0]))
    for amount, muted in ((0.5, 0.0), (-1.0, 0.0), (0.0, 0.8), (1.0, 1.0)):
        made = start.copy()
        light.change_chroma(made, np.float32(amount), np.float32(muted), 0, 1)
        assert float(light.luminance.py_func(*made[:, 0, 0])) == pytest.approx(before, rel=1e-5)
        if amount == -1:
            assert np.ptp(made) < 1e-6


def test_muted_spares_strong_colours() -> None:
    made = planes((0.4, 0.5, 0.45), (0.0, 0.5, 0.0))
    light.change_chroma(made, np.float32(0), np.float32(1), 0, 1)
    assert made[1, 0, 0] - made[0, 0, 0] > 0.17
    assert np.allclose(made[:, 0, 1], [0, 0.5, 0], atol=1e-6)


def test_colours_that_do_not_fit_become_paler_at_the_same_hue() -> None:
    made = planes(
        (0.3, 0.6, 0.9), (-0.2, 0.5, 0.1), (0.2, 1.3, 0.3), (2, 2, 2), (-1, -1, -1), (1, 0, 1), (3, -1, 2)
    )
    start = made.copy()
    light.fit_colours(made, 0, 1)
    assert made.min() >= -1e-7
    assert made.max() <= 1 + 1e-6
    for kept in (0, 5):
        assert np.array_equal(made[:, 0, kept], start[:, 0, kept])
    assert made[:, 0, 3].tolist() == [1, 1, 1]
    assert made[:, 0, 4].tolist() == [0, 0, 0]
    for column in (1, 2, 6):
        was, now = np.sort(start[:, 0, column]), made[np.argsort(start[:, 0, column]), 0, column]
        assert (now[1] - now[0]) / (now[2] - now[0]) == pytest.approx(
            (was[1] - was[0]) / (was[2] - was[0]), abs=1e-4
        )


def test_display_rounds_to_the_nearest_without_dither() -> None:
    values = np.linspace(0, 1, 999, dtype=np.float32)
    made = np.stack([values] * 3)[:, None, :].copy()
    out = np.empty((1, 999, 3), np.uint8)
    light.display(made, curves.display_table(), np.float32(255), False, out, 0, 1)
    from archive.engine.colour import srgb_encode

    assert np.abs(out[0, :, 0] - np.round(srgb_encode(values) * 255)).max() <= 1
    assert (np.abs(out[0, :, 0] - srgb_encode(values) * 255) < 0.501).all()
