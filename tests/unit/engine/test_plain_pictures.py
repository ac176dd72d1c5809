"""Every operator alone, and all together: the picture is what plain float64 arithmetic makes of the scene.

Whatever the engine fuses, tabulates, does in bands and in float32 may change it by rounding only.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.operator_values import values_of
from support.plain import light as plain_light
from support.plain import picture as plain
from support.recipes import DARK, STRONG, frame, picture, recipe
from support.tinydng import BLACK, WHITE, night_mosaic

from archive.engine import operator
from archive.engine.darkframe import MasterDark
from archive.engine.declaration import registry
from archive.engine.decode import Decoded
from archive.engine.pipeline import render, render_linear
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues, Value

HEIGHT, WIDTH = 96, 144
# As counted, averaged from whole colours, and averaged straight from the mosaic.
FITS = (None, (100, 100), (60, 60))
LEVELS = 0.02
"""Of 255, by which a picture may differ from the plain one for rounding; above white as a share of it."""

# Beyond these a frame is bent back on itself, or nothing is left of it.
NARROWER = {("distortion", "k1"): (-0.1, 1.0), ("crop", "right"): (0.0, 0.8)}


# Counts of red, green and blue in the middles of coloured lamps, some above white, and where they are.
LAMPS = {(30, 90): (9000, 20000, 4000), (60, 30): (16000, 9000, 5000), (20, 20): (20000, 20000, 20000)}


@cache
def scene() -> Decoded:
    """A noisy night of the invented camera, lamps that clip one to three channels, and hot samples."""
    random = np.random.default_rng(2)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    counts = night_mosaic(HEIGHT, WIDTH).astype(np.float64)
    for (row, column), colour in LAMPS.items():
        counts += np.array(colour)[channel] * np.exp(-((y - row) ** 2 + (x - column) ** 2) / 60)
    for row, column in random.integers(0, (HEIGHT, WIDTH), (25, 2)):
        counts[row, column] += 1500
    decoded = frame(np.clip(np.round(counts), 0, WHITE).astype(np.uint16))
    return replace(decoded, black=(BLACK, BLACK + 3.5, BLACK - 2.0, BLACK + 1.0), iso=1600.0)


@cache
def developed_scene() -> Decoded:
    """A picture that was developed elsewhere, with lights above white."""
    light = plain.developed(scene(), recipe("exposure.stops=0.7"), None)
    return picture(np.maximum(light, 0).astype(np.float32))


@cache
def master() -> MasterDark:
    """Parts of counts, none so near to a half that float32 could not tell."""
    dark = np.round(np.random.default_rng(3).gamma(0.5, 60, (HEIGHT, WIDTH)) * 8) / 8 + 0.03
    return MasterDark(counts=dark.astype(np.float32), pattern=(0, 1, 1, 2))


def differences(made: npt.NDArray[np.float32], expected: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Of two linear pictures in 8-bit levels, the largest of every pixel, smallest first."""
    assert made.shape == expected.shape
    shown, meant = plain_light.srgb(made), plain_light.srgb(expected)
    return np.sort((255 * np.abs(shown - meant) / np.maximum(1, meant)).max(axis=-1), axis=None)


def levels(made: npt.NDArray[np.float32], expected: npt.NDArray[np.float64]) -> float:
    """The largest difference of two linear pictures in 8-bit levels."""
    return float(differences(made, expected)[-1])


def alone(name: str, version: int, values: dict[str, Value]) -> EffectiveRecipe:
    return replace(recipe(), base=(operator.checked(name, values, version=version),))


def apart(decoded: Decoded, effective: EffectiveRecipe, fit: tuple[int, int] | None) -> float:
    made = render_linear(decoded, effective, PixelSpec(fit=fit, bits=16), dark=master())
    return levels(made, plain.developed(decoded, effective, fit, master().counts))


def ends() -> Iterator[tuple[str, int, str, Value]]:
    """Every parameter at both ends of its range, and every choice."""
    for (name, version), declared in sorted(registry.items()):
        for each in declared.parameters:
            low_high = NARROWER.get((name, each.name), (each.low, each.high))
            for value in each.choices if each.is_choice else () if each.frames else low_high:
                yield name, version, each.name, value


@pytest.mark.parametrize(("name", "version"), sorted(registry))
@pytest.mark.parametrize("fit", FITS)
def test_an_operator_alone_makes_the_plain_picture(
    name: str, version: int, fit: tuple[int, int] | None
) -> None:
    effective = alone(name, version, (STRONG | DARK)[name])
    assert apart(scene(), effective, fit) < LEVELS
    if name != "dark_frame":
        assert apart(developed_scene(), effective, fit) < LEVELS
    # And it does something that can be seen, which the plain picture without it lacks.
    made = render_linear(scene(), effective, PixelSpec(fit=fit, bits=16), dark=master())
    neutral = plain.developed(scene(), recipe(), fit)
    sharpened = name == "sharpness" and fit is not None
    assert sharpened or made.shape != neutral.shape or levels(made, neutral) > 1


@pytest.mark.parametrize(("name", "version", "parameter", "value"), list(ends()))
def test_at_the_ends_of_its_range_it_does_too(name: str, version: int, parameter: str, value: Value) -> None:
    effective = alone(name, version, {**(STRONG | DARK)[name], parameter: value})
    # Eight stops make roundings 256 times as large.
    most = 5 * LEVELS if name == "exposure" else LEVELS
    for fit in (None, (60, 60)):
        assert apart(scene(), effective, fit) < most


@pytest.mark.parametrize("stops", [0.05, 0.15, 0.29, 0.3, 0.33])
@pytest.mark.parametrize("fit", FITS)
def test_recovery_of_little_rebuilds_as_much_of_clipped_light_as_it_says(
    stops: float, fit: tuple[int, int] | None
) -> None:
    """All of it from three tenths of a stop on."""
    assert apart(scene(), recipe(f"highlight_recovery.stops={stops}"), fit) < LEVELS


def everything() -> EffectiveRecipe:
    base = tuple(operator.checked(name, values) for name, values in (STRONG | DARK).items())
    finish = (
        operator.checked("local_contrast", {"amount": -0.3}), operator.checked("contrast", {"amount": 0.3}),
        operator.checked("sharpness", {"amount": 1.0, "radius": 5.0}), operator.checked("contrast", {"amount":
        -0.2}),
    )  # fmt: skip
    return replace(recipe(), base=base, finish=finish)


@pytest.mark.parametrize("fit", FITS)
def test_all_together_make_the_plain_picture(fit: tuple[int, int] | None) -> None:
    """To a quarter of a level: darks are raised by five stops, and with them what roundings left in them.

    But for a pixel in a thousand: what has colour and no luma is made as bright as roundings let it be.
    """
    spec = PixelSpec(fit=fit, bits=16)
    made = render_linear(scene(), everything(), spec, dark=master())
    found = differences(made, plain.developed(scene(), everything(), fit, master().counts))
    assert found[-1 - found.size // 1000] < 0.25
    assert found[-1] < 5


# What bends a frame may fold it, a crop leave nothing; a share of dark counts may fall on halves of a count.
ANY = [
    declared
    for (name, _), declared in sorted(registry.items())
    if name not in ("crop", "dark_frame", "distortion", "exposure", "lateral_colour")
]


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.one_of([values_of(declared) for declared in ANY]), st.sampled_from(FITS), st.booleans())
def test_any_values_make_the_plain_picture(
    values: OperatorValues, fit: tuple[int, int] | None, is_mosaic: bool
) -> None:
    decoded = scene() if is_mosaic else developed_scene()
    assert apart(decoded, replace(recipe(), base=(values,)), fit) < LEVELS


@pytest.mark.parametrize("decoded", [scene(), developed_scene()], ids=["mosaic", "picture"])
def test_finished_numbers_are_those_of_the_plain_picture(decoded: Decoded) -> None:
    """At 16 bits but for rounding and 0.02 of 255 levels, at 8 bits all but those near their threshold."""
    effective = recipe("exposure.stops=1.5", "chroma.amount=0.8", "contrast.amount=0.2")
    fitted = plain_light.fitted(np.moveaxis(plain.developed(decoded, effective, None), -1, 0))
    deep = render(decoded, effective, PixelSpec(fit=None, bits=16))
    assert np.abs(deep - plain_light.numbers(fitted, 65535)).max() < LEVELS * 257 + 0.7
    exact = plain_light.numbers(fitted, 255)
    rest, thresholds = exact % 1, plain_light.thresholds(HEIGHT, WIDTH)
    near = np.abs(rest - thresholds) < 0.03
    made = render(decoded, effective, PixelSpec(fit=None))
    assert np.array_equal(made[~near], (np.floor(exact) + (rest >= thresholds))[~near])
    assert near.mean() < 0.08
