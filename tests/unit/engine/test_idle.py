"""Operators that take no part in a kind of frame are told; those that do anything are not."""

from dataclasses import replace

import numpy as np
import pytest
from support.recipes import STRONG, camera, frame, picture, recipe
from support.tinydng import night_mosaic

from archive.engine import operator
from archive.engine.declaration import registry
from archive.engine.decode import Decoded
from archive.engine.idle import idle
from archive.engine.pipeline import render_linear
from archive.model.product import PixelSpec

BRIGHT = night_mosaic().astype(np.float32)[..., None] / 4000 * np.float32([1, 0.8, 0.6])


def frames() -> dict[str, Decoded]:
    """A Bayer mosaic with a glowing sample, a raw that is none, and a developed picture."""
    mosaic = night_mosaic()
    mosaic[20, 30] = 12000
    return {
        "a mosaic": frame(mosaic),
        "none": replace(picture(BRIGHT), camera=camera()),
        "a developed picture": picture(BRIGHT),
    }


@pytest.mark.parametrize("name", sorted(STRONG))
@pytest.mark.parametrize("kind", sorted(frames()))
def test_an_operator_is_told_idle_exactly_where_it_changes_no_pixel(kind: str, name: str) -> None:
    decoded, pixels = frames()[kind], PixelSpec(fit=None)
    used = replace(recipe(), base=(operator.checked(name, STRONG[name]),))
    made, plain = (render_linear(decoded, each, pixels) for each in (used, recipe()))
    changes = made.shape != plain.shape or not np.array_equal(made, plain)
    told = idle(decoded, used)
    assert [each.operator for each in told] == ([] if changes else [name])
    assert all(kind in each.why for each in told)


def test_recovery_of_a_developed_picture_works_where_exposure_raises_it_above_white() -> None:
    decoded, exposed = frames()["a developed picture"], recipe("exposure.stops=1")
    both = recipe("exposure.stops=1", "highlight_recovery.stops=1.5")
    pixels = PixelSpec(fit=None)
    assert idle(decoded, both) == ()
    assert not np.array_equal(*(render_linear(decoded, each, pixels) for each in (both, exposed)))
    (told,) = idle(decoded, recipe("exposure.stops=-1", "highlight_recovery.stops=1.5"))
    assert told.operator == "highlight_recovery"


def test_what_works_on_mosaics_only_says_so_in_its_help() -> None:
    for declared in registry.values():
        assert declared.mosaic_only == ("Bayer mosaics only" in declared.help)


def test_neutral_values_are_told_of_only_where_the_operator_is_asked_for() -> None:
    neutral = recipe("contrast.amount=0", "exposure.stops=1")
    assert idle(frame(), neutral) == ()
    (told,) = idle(frame(), neutral, ["contrast", "exposure"])
    assert (told.operator, told.why) == ("contrast", "its values are neutral")
    finish = (operator.checked("contrast", {"amount": 0.2}),)
    assert idle(frame(), replace(neutral, finish=finish), ["contrast"]) == ()
