"""The tone response is what the engine really does to grey light."""

from __future__ import annotations

import numpy as np
import pytest

from archive.engine import operator
from archive.engine.colour import srgb_encode
from archive.engine.decode import CameraColour
from archive.engine.foundation import current_foundation
from archive.engine.toneresponse import tone_response
from archive.model.recipe import EffectiveRecipe

CAMERA = CameraColour(
    to_srgb=np.eye(3), as_shot=np.array([2.0, 1.0, 1.5]), daylight=np.array([2.0, 1.0, 1.5])
)


def recipe(**settings: dict[str, float]) -> EffectiveRecipe:
    base = tuple(operator.checked(name, values) for name, values in settings.items())
    return EffectiveRecipe(foundation=current_foundation(), base=base)


@pytest.mark.parametrize("camera", [None, CAMERA], ids=["picture", "camera"])
def test_without_a_recipe_light_is_encoded_as_the_standard_says(camera: CameraColour | None) -> None:
    tone = tone_response(recipe(), camera)
    stops = np.array([point.stops for point in tone.points])
    assert stops[0] == -12
    assert stops[-1] == 0
    # IEC 61966-2-1.
    expected = srgb_encode(2.0**stops)
    np.testing.assert_allclose([point.untouched for point in tone.points], expected, atol=4e-4)
    assert [point.shown for point in tone.points] == [point.untouched for point in tone.points]
    assert tone.operators == ()


def test_exposure_moves_the_response_by_its_stops() -> None:
    tone = tone_response(recipe(exposure={"stops": 1.0}), None)
    stops = np.array([point.stops for point in tone.points])
    np.testing.assert_allclose(
        [point.shown for point in tone.points], srgb_encode(np.minimum(1, 2.0 ** (stops + 1))), atol=4e-4
    )


def test_no_operator_makes_brighter_light_darker() -> None:
    tone = tone_response(
        recipe(
            shadow_lift={"stops": 3.0}, highlight_recovery={"stops": 2.0}, contrast={"amount": 0.4},
            exposure={"stops": 0.7},
        ), CAMERA,
    )  # fmt: skip
    shown = np.array([point.shown for point in tone.points])
    assert (np.diff(shown) > -2e-4).all()
    assert shown[20] > tone.points[20].untouched


def test_only_tone_operators_take_part() -> None:
    tone = tone_response(
        recipe(contrast={"amount": 0.2}, chroma={"amount": 0.5}, vignetting={"corner": 2.0}), CAMERA
    )
    assert tone.operators == ("contrast",)


def test_neutral_operators_are_not_named() -> None:
    assert tone_response(recipe(exposure={"stops": 0.0}), None).operators == ()
