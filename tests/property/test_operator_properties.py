"""What holds for every operator at any values that its declaration allows."""

import json
from dataclasses import replace
from functools import partial
from unittest import mock

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.operator_values import EVERY, neutral_values_of, value_of, values_of
from support.recipes import frame, recipe
from support.tinydng import BLACK, night_mosaic

from archive.engine import operator, pipeline
from archive.engine.darkframe import MasterDark, master_dark
from archive.engine.declaration import Unit, registry
from archive.engine.decode import Decoded
from archive.engine.kernels.rows import Rows
from archive.engine.pipeline import render, render_linear
from archive.errors import ArchiveError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues, Recipe

HEIGHT, WIDTH = 74, 110
FITS = (None, (110, 110), (60, 60), (23, 31))
UNITS = {
    Unit.EV: ("EV", "stops"), Unit.KELVIN: ("K",), Unit.DUV: ("Duv",), Unit.DEGREE: ("°",),
    Unit.SIGMA: ("σ",), Unit.FACTOR: ("×",), Unit.PERMILLE: ("‰",),
}  # fmt: skip
SPARING = settings(deadline=None, max_examples=12, suppress_health_check=[HealthCheck.too_slow])


def scene() -> Decoded:
    """A noisy night with a hot sample and something that clips."""
    mosaic = night_mosaic(HEIGHT, WIDTH)
    mosaic[21, 33] = 9000
    mosaic[40:46, 60:70] = 16383
    return frame(mosaic)


SCENE = scene()


def master() -> MasterDark:
    return master_dark([replace(SCENE, pixels=np.full((HEIGHT, WIDTH), BLACK + 40, np.uint16))])


def with_values(*values: OperatorValues) -> EffectiveRecipe:
    return replace(recipe(), base=values)


def light_of(
    effective: EffectiveRecipe, fit: tuple[int, int] | None, band: int | None = None
) -> npt.NDArray[np.float32]:
    """The picture's light, worked on so many rows at a time."""
    with mock.patch.object(pipeline, "Rows", partial(Rows, band=band)):
        return render_linear(SCENE, effective, PixelSpec(fit=fit, bits=16), dark=master())


@pytest.mark.parametrize(("name", "version"), EVERY)
@SPARING
@given(data=st.data())
def test_any_values_leave_light_finite_and_are_worked_alike_in_bands_of_any_height(
    name: str, version: int, data: st.DataObject
) -> None:
    effective = with_values(data.draw(values_of(registry[name, version])))
    fit = data.draw(st.sampled_from(FITS))
    light = light_of(effective, fit, 1)
    assert light.dtype == np.float32
    assert np.isfinite(light).all()
    for band in (7, 1000):
        assert np.array_equal(light, light_of(effective, fit, band))
    made = render(SCENE, effective, PixelSpec(fit=fit, bits=16), dark=master())
    assert made.dtype == np.uint16
    assert made.shape == light.shape
    # What lies inside the picture's range comes out at its own brightness.
    inside = ((light > 0.01) & (light < 0.99)).all(axis=-1)
    decoded = np.where(made <= 2650, made / 65535 / 12.92, ((made / 65535 + 0.055) / 1.055) ** 2.4)
    assert np.allclose(decoded[inside], light[inside], atol=2e-4)


@pytest.mark.parametrize(("name", "version"), EVERY)
@SPARING
@given(data=st.data())
def test_no_strength_is_the_identity_whatever_the_other_values(
    name: str, version: int, data: st.DataObject
) -> None:
    values = data.draw(neutral_values_of(registry[name, version]))
    assert operator.is_neutral(values)
    pixels = PixelSpec(fit=data.draw(st.sampled_from(FITS)), bits=16)
    assert np.array_equal(render(SCENE, with_values(values), pixels), render(SCENE, recipe(), pixels))


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_any_operators_together_leave_light_finite(data: st.DataObject) -> None:
    chosen = data.draw(st.lists(st.sampled_from(EVERY), unique=True, min_size=2, max_size=8))
    finish = [key for key in EVERY if registry[key].finish]
    last = data.draw(st.lists(st.sampled_from(finish), max_size=3))
    effective = replace(
        with_values(*(data.draw(values_of(registry[key])) for key in chosen)),
        finish=tuple(data.draw(values_of(registry[key])) for key in last),
    )
    fit = data.draw(st.sampled_from(FITS))
    light = light_of(effective, fit, 7)
    assert np.isfinite(light).all()
    assert np.array_equal(light, light_of(effective, fit))


@pytest.mark.parametrize(("name", "version"), EVERY)
@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_values_survive_json_their_schema_and_being_typed(
    name: str, version: int, data: st.DataObject
) -> None:
    declared = registry[name, version]
    values = data.draw(values_of(declared))
    before = Recipe(foundation=recipe().foundation, base=(values,))
    assert Recipe.from_json(json.loads(json.dumps(before.to_json()))) == before
    schema = operator.json_schema(name, version)["properties"]
    assert set(schema) == set(values.values)
    for parameter in declared.parameters:
        value, about = values.values[parameter.name], schema[parameter.name]
        if about["type"] == "number":
            assert about["minimum"] <= float(value) <= about["maximum"]
        setting = f"{name}.{parameter.name}"
        assert operator.parse_setting(setting, str(value)) == (name, parameter.name, value)
        for unit in UNITS.get(parameter.unit, ()):
            assert operator.parse_setting(setting, f"{value} {unit}") == (name, parameter.name, value)


@pytest.mark.parametrize(("name", "version"), EVERY)
@settings(deadline=None, max_examples=20)
@given(data=st.data())
def test_values_beyond_a_range_are_refused_by_name(name: str, version: int, data: st.DataObject) -> None:
    for parameter in registry[name, version].parameters:
        given_value = data.draw(value_of(parameter))
        if parameter.frames or parameter.is_choice:
            strange: object = f"{given_value} else"
        else:
            span = parameter.high - parameter.low
            beyond = data.draw(st.floats(1e-3, 10)) * span
            strange = parameter.high + beyond if data.draw(st.booleans()) else parameter.low - beyond
        with pytest.raises(ArchiveError, match=rf"{name}\.{parameter.name}"):
            operator.checked(name, {parameter.name: strange}, version=version)  # type: ignore[dict-item]
