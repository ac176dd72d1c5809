"""Measures of frames whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from support import recipes
from support.invented_sky import Moment, frame, light

from archive.engine.measure import measure, outline, sharpness, shift
from archive.engine.surveyor import look
from archive.model.survey import Measures


def measured(moment: Moment, *, seed: int | None = 1, orientation: int = 1) -> Measures:
    return look(frame(moment, seed=seed, orientation=orientation)).measures


@pytest.fixture(scope="module")
def quiet() -> Measures:
    return measured(Moment())


@pytest.mark.parametrize("stops", [-2.0, 0.5, 1.0])
def test_brightness_is_in_stops(quiet: Measures, stops: float) -> None:
    assert measured(Moment(stops=stops)).brightness - quiet.brightness == pytest.approx(stops, abs=0.01)


def test_cells_hold_the_light_that_fell_on_them() -> None:
    # A star may fall between the samples of a colour; and cells hold camera colour, where grey is grey.
    starless = Moment(cloud=1.0, stars=0)
    found = measured(starless, seed=None).cells
    truth = light(starless)
    errors = []
    assert (found.columns, found.rows) == (12, 8)
    for channel, values in enumerate((found.red, found.green, found.blue)):
        for cell, value in enumerate(values):
            row, column = divmod(cell, 12)
            part = truth[row * 40 : row * 40 + 40, column * 40 : column * 40 + 40, channel]
            errors.append(abs(value / float(part.mean()) - 1))
    assert np.quantile(errors, 0.9) < 0.02
    assert max(errors) < 0.15


def test_an_upright_frame_has_its_cells_turned_with_it() -> None:
    lying, upright = measured(Moment(), seed=None), measured(Moment(), seed=None, orientation=8)
    assert (upright.cells.columns, upright.cells.rows) == (8, 12)
    turned = np.rot90(np.array(lying.cells.green).reshape(8, 12))
    assert np.allclose(np.array(upright.cells.green).reshape(12, 8), turned, rtol=0.02)


def test_clipped_and_dark_shares_are_those_of_the_samples() -> None:
    mosaic = np.full((240, 360), 4000, np.uint16)
    mosaic[:60] = 15000
    mosaic[120:] = 512
    found = look(recipes.frame(mosaic)).measures
    assert found.clipped == pytest.approx(0.25)
    assert found.dark == pytest.approx(0.5, abs=0.05)


def test_dew_spreads_stars_and_the_measure_falls_with_it() -> None:
    widths = (0.9, 1.2, 1.6, 2.2, 3.0)
    found = [measured(Moment(dew=width)).sharpness for width in widths]
    assert all(value is not None for value in found)
    assert found == sorted(found, reverse=True)  # type: ignore[type-var]
    # Aurora and exposure do not pass for dew.
    for other in (Moment(green=0.1), Moment(stops=-1)):
        assert measured(other).sharpness == pytest.approx(found[0], rel=0.2)


def test_without_stars_there_is_no_sharpness() -> None:
    assert sharpness(np.random.default_rng(1).normal(0.02, 0.002, (300, 300)).astype(np.float32)) is None
    assert sharpness(np.zeros((10, 10), np.float32)) is None


@pytest.mark.parametrize("moved", [(0.0, 0.0), (6.0, 0.0), (0.0, 4.0), (-7.0, 2.0), (25.0, -9.0)])
def test_a_shifted_view_is_seen_to_the_pixel_through_noise_and_aurora(
    quiet: Measures, moved: tuple[float, float]
) -> None:
    found = measured(Moment(shift=moved, green=0.02), seed=7)
    assert shift(quiet.across, found.across) == pytest.approx(moved[0], abs=0.7)
    assert shift(quiet.down, found.down) == pytest.approx(moved[1], abs=0.7)


def test_profiles_too_short_or_empty_have_not_moved() -> None:
    assert shift(b"", b"") == 0.0
    assert shift(bytes(40), bytes(40)) == 0.0
    assert outline(np.zeros((2, 2, 3), np.uint8)) == (bytes(1), bytes(1))


def test_a_picture_is_measured_like_a_mosaic() -> None:
    starless = Moment(green=0.05, stars=0)
    truth = light(starless).astype(np.float32)
    found = look(recipes.picture(truth)).measures
    raw = measured(starless, seed=None)
    assert found.brightness == pytest.approx(float(np.log2(truth[:, :, 1].mean())), abs=0.01)
    errors = np.abs(np.array(found.cells.green) / np.array(raw.cells.green) - 1)
    assert np.median(errors) < 0.02


def test_the_same_bytes_measure_the_same() -> None:
    decoded = frame(Moment(green=0.03))
    assert look(decoded).measures == look(decoded).measures
    assert measure(decoded, np.zeros((20, 30, 3), np.uint8)).likeness
