"""The published radial models, and how much of a frame they fill."""

import numpy as np
import pytest
from support.plain import framing as plain

from archive.engine.lensmodel import BLUE, GREEN, NO_LENS, RED, LensModel, radial_gains
from archive.engine.operators.lens import Distortion, FallOff, LateralColour, Vignetting


def at(model: LensModel, distance: float, channel: int = GREEN) -> float:
    x, _ = model.placed(np.array([distance]), np.array([0.0]), channel)
    return float(x[0])


@pytest.mark.parametrize(
    ("lens", "expected"),
    [
        (Distortion(model="poly3", k1=0.02, unit=0.5), 0.4 * (1 - 0.02 + 0.02 * 0.8**2)),
        (Distortion(model="poly5", k1=-0.03, k2=0.01, unit=0.5), 0.4 * (1 - 0.03 * 0.8**2 + 0.01 * 0.8**4)),
        (
            Distortion(model="poly4", k1=0.01, k2=-0.02, k3=0.03, unit=0.5),
            0.4 * (0.01 * 0.8**3 - 0.02 * 0.8**2 + 0.03 * 0.8 + 1 - 0.02),
        ),
    ],
)
def test_distortion_follows_its_model(lens: Distortion, expected: float) -> None:
    assert at(LensModel(distortion=lens), 0.4) == pytest.approx(expected, rel=1e-12)


def test_red_and_blue_are_drawn_larger_or_smaller_after_the_lens_has_bent() -> None:
    bent = Distortion(model="poly5", k1=0.1, unit=1.0)
    model = LensModel(
        distortion=bent, lateral=LateralColour(red=1.001, red_b=0.002, blue=0.998, blue_c=0.001, unit=1.0)
    )
    green = 0.5 * (1 + 0.1 * 0.25)
    assert at(model, 0.5) == pytest.approx(green)
    assert at(model, 0.5, RED) == pytest.approx(green * (1.001 + 0.002 * green**2))
    assert at(model, 0.5, BLUE) == pytest.approx(green * (0.998 + 0.001 * green))


@pytest.mark.parametrize("k1", [0.08, -0.08, 0.0])
def test_what_is_shown_is_filled_and_no_smaller_than_need_be(k1: float) -> None:
    model = LensModel(distortion=Distortion(model="poly5", k1=k1, unit=1.0)) if k1 else NO_LENS
    share = model.filled(6000, 4000)
    across = 6000 / np.hypot(6000, 4000)
    down = 4000 / np.hypot(6000, 4000)
    x, y = model.placed(np.array([across * share, share * across]), np.array([0.0, share * down]), GREEN)
    assert np.max(np.abs(x)) <= across + 1e-6
    assert np.max(np.abs(y)) <= down + 1e-6
    assert share == 1 if k1 <= 0 else 0.9 < share < 1
    if k1 > 0:
        assert np.max(np.abs(x)) == pytest.approx(across, abs=1e-6)


@pytest.mark.parametrize(
    "lens",
    [
        Distortion(model="poly3", k1=-0.25), Distortion(model="poly3", k1=-1.0),
        Distortion(model="poly5", k1=0.5, k2=-0.5, unit=1.0),
    ],
)  # fmt: skip
def test_values_that_fold_a_frame_show_only_the_part_before_the_fold(lens: Distortion) -> None:
    model = LensModel(distortion=lens)
    share = model.filled(6000, 4000)
    x, y = 6000 / np.hypot(6000, 4000), 4000 / np.hypot(6000, 4000)
    for corner in ((x, y), (x, 0.0), (0.0, y)):
        along = np.linspace(0, share, 500)
        at_x, at_y = model.placed(along * corner[0], along * corner[1], GREEN)
        assert np.all(np.diff(np.hypot(at_x, at_y)) > 0)
        assert np.max(at_x) <= x + 1e-6
        assert np.max(at_y) <= y + 1e-6
    assert 0.2 < share < 1


@pytest.mark.parametrize("sides", [(6000, 4000), (3000, 4000), (5000, 5000)])
@pytest.mark.parametrize(
    "distortion",
    [
        None, Distortion(k1=0.08), Distortion(k1=-0.05), Distortion(k1=-0.4),
        Distortion(model="poly5", k1=0.2),
        Distortion(model="poly5", k1=-0.1, k2=0.03, unit=1.0),
        Distortion(model="poly4", k1=0.05, k2=-0.1, k3=0.2, unit=0.9),
    ],
)  # fmt: skip
@pytest.mark.parametrize("lateral", [None, LateralColour(red=1.01, blue_c=0.004), LateralColour(blue=0.95)])
def test_as_much_is_filled_as_plain_arithmetic_says(
    distortion: Distortion | None, lateral: LateralColour | None, sides: tuple[int, int]
) -> None:
    """To a ten-thousandth of the frame, to which a fold is found; to a pixel's hundredth without one."""
    made = LensModel(distortion=distortion, lateral=lateral).filled(*sides)
    expected = plain.Lens(distortion=distortion, lateral=lateral).filled(*sides)
    folds = distortion is not None and distortion.k1 == -0.4
    assert made == pytest.approx(expected, abs=1e-4 if folds else 2e-6)


@pytest.mark.parametrize("shape", [2.0, 3.3, 6.0])
@pytest.mark.parametrize("corner", [-1.0, 1.5, 4.0])
def test_gains_between_their_steps_are_those_of_the_formula(corner: float, shape: float) -> None:
    """To 2e-5 of themselves, 1/200 of an 8-bit level; shapes below 2 begin more steeply in the centre."""
    vignetting, falloff = Vignetting(corner=corner, shape=shape), FallOff(k1=-0.5, k2=0.2, k3=-0.1)
    distance = np.sqrt(np.linspace(0, 1, 9999))
    table = radial_gains(vignetting, falloff).astype(np.float64)
    made = np.interp(distance**2, np.linspace(0, 1, len(table)), table)
    assert np.abs(made / plain.gains(distance, vignetting, falloff) - 1).max() < 2e-5


def test_gains_are_the_inverse_of_what_is_left() -> None:
    squared = np.linspace(0, 1, 1025)
    gains = radial_gains(Vignetting(corner=1.0, shape=2.0), FallOff(k1=-0.4, k2=0.1, k3=-0.05))
    expected = 2**squared / (1 - 0.4 * squared + 0.1 * squared**2 - 0.05 * squared**3)
    assert np.allclose(gains, expected, rtol=1e-6)
    assert np.all(radial_gains(None, None) == 1)
    assert radial_gains(None, FallOff(k1=-2.0))[-1] == 16
