"""Two versions of one operator live side by side; recipes say which."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import FULL, frame, recipe
from support.twins import doubled_exposure
from typer.testing import CliRunner

from archive.editing.describing import describe_operators
from archive.engine import operator
from archive.engine.pipeline import render
from archive.errors import UsageError
from archive.model.recipe import OperatorValues
from archive.views.cli.app import app


@pytest.fixture
def twin() -> Iterator[None]:
    with doubled_exposure():
        yield


def made(values: OperatorValues) -> npt.NDArray[np.uint16]:
    return np.asarray(render(frame(), replace(recipe(), base=(values,)), FULL), np.uint16)


def test_each_version_makes_its_own_pixels_whatever_else_is_registered(
    request: pytest.FixtureRequest,
) -> None:
    old = operator.checked("exposure", {"stops": 0.5})
    before, twice = made(old), made(operator.checked("exposure", {"stops": 1.0}))
    request.getfixturevalue("twin")
    new = operator.checked("exposure", {"stops": 0.5})
    assert (old.version, new.version) == (1, 2)
    assert np.array_equal(made(old), before)
    assert np.array_equal(made(new), twice)
    assert not np.array_equal(before, twice)


@pytest.mark.usefixtures("twin")
def test_changing_a_value_does_not_change_the_version() -> None:
    old = OperatorValues(name="exposure", version=1, values={"stops": 0.5})
    assert operator.changed(old, {"stops": 1.0}).version == 1


@pytest.mark.usefixtures("twin")
def test_the_list_of_operators_tells_the_newest_and_what_recipes_may_still_hold() -> None:
    (told,) = describe_operators("exposure")
    assert (told.version, told.older) == (2, (1,))
    said = CliRunner().invoke(app, ["operators", "exposure"]).stdout
    assert "(version 2; recipes may hold 1)" in " ".join(said.split())
    assert "version" not in CliRunner().invoke(app, ["operators", "contrast"]).stdout


@pytest.mark.usefixtures("twin")
def test_the_newest_version_takes_the_values_it_still_has() -> None:
    old = OperatorValues(name="exposure", version=1, values={"stops": 0.5})
    assert operator.renewed(old) == OperatorValues(name="exposure", version=2, values={"stops": 0.5})
    assert operator.renewed(operator.renewed(old)) == operator.renewed(old)
    with pytest.raises(UsageError, match="outside"):
        operator.renewed(OperatorValues(name="exposure", version=1, values={"stops": 9.0}))
