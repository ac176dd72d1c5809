"""Specs to JSON and back, and keys that change exactly when they should."""

from __future__ import annotations

import hashlib
from fractions import Fraction
from typing import Any

import pytest
from support.builders import FOUNDATION, frame_id, step

from archive.model.identity import canonical
from archive.model.product import PixelSpec, Spec, file_key, pixel_key
from archive.model.recipe import EffectiveRecipe

PIXELS = PixelSpec(fit=(2048, 2048))
MOVIE = Spec(
    name="movie-hd",
    product="movie",
    container="mp4",
    pixels=PixelSpec(fit=(1920, 1080), even=True),
    encoder={"codec": "h264", "crf": 16},
    rate=Fraction(30000, 1001),
)
RECIPE = EffectiveRecipe(foundation=FOUNDATION, base=(step("exposure", stops=0.5),)).to_json()


@pytest.mark.parametrize("pixels", [PIXELS, PixelSpec(fit=None, bits=16), PixelSpec(fit=(1, 2), even=True)])
def test_the_pixel_part_of_a_spec_comes_back_from_json(pixels: PixelSpec) -> None:
    assert PixelSpec.from_json(pixels.to_json()) == pixels


def test_a_movie_keeps_its_rate_as_a_rational() -> None:
    document = MOVIE.to_json()
    assert document["rate"] == [30000, 1001]
    assert Spec.from_json(document) == MOVIE


def test_a_still_has_no_rate() -> None:
    still = Spec(name="still-web", product="still", container="jpeg", pixels=PIXELS, encoder={"quality": 90})
    assert still.to_json()["rate"] is None
    assert Spec.from_json(still.to_json()) == still


def test_a_pixel_key_is_the_sha_256_of_all_that_decides_pixels() -> None:
    key = pixel_key([frame_id(1)], RECIPE, None, PIXELS, 1)
    document = ["render", [frame_id(1)], RECIPE, None, PIXELS.to_json(), 1]
    assert key == "sha256:" + hashlib.sha256(canonical(document)).hexdigest()


@pytest.mark.parametrize(
    "other",
    [
        {"inputs": [frame_id(2)]},
        {"inputs": [frame_id(1), frame_id(2)]},
        {"effective": RECIPE | {"base": []}},
        {"lens": "sha256:0"},
        {"pixels": PixelSpec(fit=(2048, 2047))},
        {"pixels": PixelSpec(fit=(2048, 2048), bits=16)},
        {"generation": 2},
    ],
)
def test_whatever_decides_pixels_changes_the_pixel_key(other: dict[str, Any]) -> None:
    given: dict[str, Any] = {
        "inputs": [frame_id(1)],
        "effective": RECIPE,
        "lens": None,
        "pixels": PIXELS,
        "generation": 1,
    }
    assert pixel_key(**given | other) != pixel_key(**given)


def test_the_order_of_inputs_is_part_of_the_pixel_key() -> None:
    one = pixel_key([frame_id(1), frame_id(2)], RECIPE, None, PIXELS, 1)
    assert one != pixel_key([frame_id(2), frame_id(1)], RECIPE, None, PIXELS, 1)


def test_encoder_settings_change_the_file_key_and_no_pixel_key() -> None:
    key = pixel_key([frame_id(1)], RECIPE, None, MOVIE.pixels, 1)
    other = Spec.from_json(MOVIE.to_json() | {"encoder": {"codec": "h264", "crf": 18}})
    assert file_key([key], MOVIE) != file_key([key], other)
    assert pixel_key([frame_id(1)], RECIPE, None, other.pixels, 1) == key
