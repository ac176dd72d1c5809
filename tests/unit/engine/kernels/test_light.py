"""Passes on single pixels."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import light as plain

from archive.engine import curves
from archive.engine.colour import srgb_decode, srgb_encode
from archive.engine.kernels import light


def planes(*colours: tuple[float, float, float]) -> npt.NDArray[np.float32]:
    return np.ascontiguousarray(np.array(colours, np.float32).T[:, None, :])


def wide(width: int, seed: int = 1) -> npt.NDArray[np.float32]:
    """Colours that fit and others, dark, bright, and outside in every way; whole numbers among them."""
    random = np.random.default_rng(seed)
    made = random.choice([1e-4, 0.02, 0.3, 1.5, 40], (1, 6, width)) * random.normal(0.6, 0.5, (3, 6, width))
    made[random.uniform(0, 1, made.shape) < 0.1] = 0
    made[random.uniform(0, 1, made.shape) < 0.1] = 1
    # Rows in which all fits, and one in which a single pixel does not.
    made[:, :2] = random.uniform(0, 1, (3, 2, width))
    made[1, 1, -1] = 1.25
    return made.astype(np.float32)


def test_balance_multiplies_every_channel_by_its_own_gain() -> None:
    made = planes((0.1, 0.2, 0.3), (0.5, 0.8, 0.1))
    light.balance(made, np.array([2, 1, 1.5], np.float32), 0, 1)
    assert np.allclose(made[:, 0].T, [[0.2, 0.2, 0.45], [1.0, 0.8, 0.15]])


def test_matrix_and_scale() -> None:
    made = planes((0.1, 0.2, 0.3))
    matrix = np.array([[1, 2, 3], [0, 1, 0], [-1, 0, 1]], np.float32)
    light.apply_matrix(made, matrix, 0, 1)
    assert np.allclose(made[:, 0, 0], [1.4, 0.2, 0.2])
    light.scale(made, np.float32(0.5), 0, 1)
    assert np.allclose(made[:, 0, 0], [0.7, 0.1, 0.1])


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


@pytest.mark.parametrize("width", [1, 63, 64, 65, 300])
def test_fitting_is_what_plain_arithmetic_makes(width: int) -> None:
    """To 2e-6 of white, a few roundings; light above white is divided down to it before they can grow."""
    made = wide(width)
    expected = plain.fitted(made)
    light.fit_colours(made, 0, 6)
    assert np.abs(made - expected).max() < 2e-6
    assert np.array_equal(made[:, 0], wide(width)[:, 0])


@pytest.mark.parametrize("muted", [-1.0, 0.0, 0.3, 1.0])
@pytest.mark.parametrize("amount", [-1.0, -0.4, 0.0, 1.0])
def test_chroma_is_what_plain_arithmetic_makes(amount: float, muted: float) -> None:
    """To a millionth of the brightest channel: what is added is three times as much at most."""
    made = wide(300)
    expected = plain.coloured(made, amount, muted)
    size = np.abs(made).max(axis=0)
    light.change_chroma(made, np.float32(amount), np.float32(muted), 0, 6)
    assert (np.abs(made - expected) <= 1e-6 * size).all()


def test_display_rounds_to_the_nearest_at_16_bits() -> None:
    values = np.linspace(0, 1, 9999, dtype=np.float32)
    made = np.stack([values] * 3)[:, None, :].copy()
    out = np.empty((1, 9999, 3), np.uint16)
    light.display(made, curves.display_table(), out, 0, 1)
    assert (np.abs(out[0, :, 0] - srgb_encode(values) * 65535) < 0.6).all()


def test_what_is_no_number_is_looked_up_inside_the_table() -> None:
    """It was read from two thousand million entries before it, which ended the program."""
    made = np.full((3, 1, 64), np.nan, np.float32)
    made[:, :, ::3], made[:, :, 1::3] = np.inf, -np.inf
    out = np.empty((1, 64, 3), np.uint16)
    light.display(made, curves.display_table(), out, 0, 1)
    assert (out[0, ::3] == 65535).all() and (out[0, 1::3] == 0).all()


def test_8_bit_numbers_are_srgb_to_a_hundredth_before_they_are_rounded() -> None:
    """Thresholds lie anywhere between two numbers, so the mean over places tells what was rounded."""
    values = np.linspace(0, 1, 2001, dtype=np.float32) ** 3
    made = np.broadcast_to(values, (3, 1024, 2001)).copy()
    out = np.empty((1024, 2001, 3), np.uint8)
    light.display_dithered(made, out, 0, 1024)
    exact = srgb_encode(values.astype(np.float64)) * 255
    rest = np.clip((exact % 1 - 0.02) / 0.96, 0, 1)
    error = out.mean(axis=(0, 2)) - (np.floor(exact) + rest)
    assert np.abs(error).max() < 0.05
    assert abs(error.mean()) < 0.002


def test_each_8_bit_number_is_rounded_by_the_threshold_of_its_place() -> None:
    """All of them but those within a hundredth of their threshold, so near is sRGB's own approximation."""
    made = np.random.default_rng(3).uniform(-0.1, 1.1, (3, 150, 400)).astype(np.float32)
    made[:, :50] **= 3
    out = np.empty((150, 400, 3), np.uint8)
    light.display_dithered(made, out, 0, 150)
    exact, thresholds = plain.numbers(made, 255), plain.thresholds(150, 400)
    rest = exact - np.floor(exact)
    near = np.abs(rest - thresholds) < 0.011
    expected = np.floor(exact) + (rest >= thresholds)
    assert np.array_equal(out[~near], expected[~near])
    assert near.mean() < 0.03


def test_dithered_display_rounds_up_as_often_as_the_rest_is_large() -> None:
    level = np.float32(srgb_decode(100.3 / 255))
    made = np.full((3, 200, 200), level, np.float32)
    out = np.empty((200, 200, 3), np.uint8)
    light.display_dithered(made, out, 0, 200)
    assert set(np.unique(out)) == {100, 101}
    assert out.mean() == pytest.approx(100.3, abs=0.02)
    whole = np.full((3, 40, 40), np.float32(srgb_decode(100 / 255)))
    light.display_dithered(whole, out, 0, 40)
    assert (out[:40, :40] == 100).all()


def test_dither_of_neighbours_and_channels_is_unrelated() -> None:
    level = np.float32(srgb_decode(100.5 / 255))
    made = np.full((3, 256, 256), level, np.float32)
    out = np.empty((256, 256, 3), np.uint8)
    light.display_dithered(made, out, 0, 256)
    bits = out.astype(np.float64) - out.mean()
    for other in (
        np.roll(bits, 1, 0),
        np.roll(bits, 1, 1),
        np.roll(bits, 1, 2),
        np.roll(bits, (1, 1), (0, 1)),
    ):
        assert abs((bits * other).mean()) < 0.01
