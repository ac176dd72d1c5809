"""Looking at frames: previews, histograms and the tone response, without a trace in the archive."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from support.exports import SEQUENCE, Studio, studio

from archive.engine import operator
from archive.engine.decode import Decoded
from archive.engine.foundation import current_foundation
from archive.engine.pipeline import sharpened_radius
from archive.engine.preview import side_by_side
from archive.errors import UsageError
from archive.exports.viewing import _box, restricted
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues

FRAME = f"{SEQUENCE}#2"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("viewing"))
    made.workspace.recipes.set(FRAME, ["exposure.stops=1", "contrast.amount=0.2"])
    yield made
    made.workspace.close()


def brightness(data: bytes) -> float:
    with Image.open(io.BytesIO(data)) as picture:
        return float(np.asarray(picture).mean())


def test_a_preview_shows_before_beside_after_and_writes_nothing(place: Studio) -> None:
    before = sorted(place.root.rglob("*"))
    with Image.open(io.BytesIO(place.workspace.exports.viewing.preview(f"{SEQUENCE}#1", size=200))) as pair:
        wide = pair.size
    with Image.open(
        io.BytesIO(place.workspace.exports.viewing.preview(f"{SEQUENCE}#1", size=200, before=False))
    ) as one:
        assert one.size == (64, 48)
    assert wide[0] >= 128
    assert sorted(place.root.rglob("*")) == before


def test_of_two_pictures_each_is_half_of_the_size_wide_and_a_line_comes_between_them() -> None:
    width, height = _box(400, beside=True).fit or (0, 0)
    assert (width, height) == (200, 400)
    plain = np.zeros((133, width, 3), np.uint8)
    assert side_by_side(plain, plain).shape[1] == 401
    assert _box(400, beside=False).fit == (400, 400)


@pytest.mark.parametrize("size", [199, 8001, -1])
def test_a_preview_of_an_impossible_size_is_refused_with_the_range(place: Studio, size: int) -> None:
    with pytest.raises(UsageError, match="is outside 200 to 8000 px"):
        place.workspace.exports.viewing.preview(f"{SEQUENCE}#1", size=size)


def test_only_the_named_operators_take_part(place: Studio) -> None:
    look = place.workspace.exports.viewing.preview
    before = brightness(look(FRAME, size=200, after=False))
    whole = brightness(look(FRAME, size=200, before=False))
    exposed = brightness(look(FRAME, size=200, before=False, only=["exposure"]))
    assert exposed > before + 5
    assert exposed != whole
    assert look(FRAME, size=200, before=False, only=["exposure", "contrast"]) == look(
        FRAME, size=200, before=False
    )


def test_an_operator_that_the_recipe_does_not_use_is_refused_with_those_it_uses(place: Studio) -> None:
    with pytest.raises(UsageError, match="does not use straighten") as caught:
        place.workspace.exports.viewing.preview(FRAME, only=["straighten"])
    assert "contrast, exposure" in caught.value.hint
    with pytest.raises(UsageError, match="no operator 'exposur'"):
        place.workspace.exports.viewing.preview(FRAME, only=["exposur"])


def test_a_preview_that_is_called_png_is_a_png_and_other_endings_are_refused(place: Studio) -> None:
    look = place.workspace.exports.viewing.preview
    for file, kind in (("a.png", "PNG"), ("a.PNG", "PNG"), ("a.JPeG", "JPEG"), ("a.b.jpg", "JPEG")):
        with Image.open(io.BytesIO(look(FRAME, size=200, file=file))) as picture:
            assert picture.format == kind
    for file in ("a.tif", "png", "a", "a.jpg.gz"):
        with pytest.raises(UsageError, match="is no picture file"):
            look(FRAME, size=200, file=file)


def test_only_an_operator_of_the_frame_without_its_recipe_is_refused(place: Studio) -> None:
    with pytest.raises(UsageError, match="has no operators that could be left out"):
        place.workspace.exports.viewing.preview(FRAME, size=200, after=False, only=["exposure"])


def test_sharpening_too_fine_for_a_preview_is_told_with_the_size_that_shows_it(place: Studio) -> None:
    too_fine, name = place.workspace.exports.viewing.too_fine, f"{SEQUENCE}#4"
    assert too_fine(name) is None
    place.workspace.recipes.set(name, ["sharpness.amount=1"])
    told = too_fine(name, size=200, beside=False)
    # A frame of 64 × 48 has a diagonal of 80 pixels: 0.3 ‰ of it is less than one at every size.
    assert told is not None and (told.pixels, told.size) == (pytest.approx(0.024), None)
    place.workspace.recipes.set(name, ["sharpness.radius=5", "exposure.stops=1"])
    assert too_fine(name, size=200, only=["exposure"]) is None


def test_an_operator_that_does_nothing_to_a_developed_picture_is_told_with_the_reason(place: Studio) -> None:
    viewing, name = place.workspace.exports.viewing, f"{SEQUENCE}#5"
    assert viewing.idle(name) == ()
    place.workspace.recipes.set(name, ["hot_pixels.reach=12", "exposure.stops=1"])
    (told,) = viewing.idle(name, only=["hot_pixels"])
    assert told.operator == "hot_pixels"
    assert told.why == "it works on Bayer mosaics only, and this frame is a developed picture"
    assert viewing.idle(name, only=["exposure"]) == ()


def test_the_radius_of_sharpening_follows_the_size_of_the_picture() -> None:
    decoded = Decoded(pixels=np.zeros((2000, 3000, 3), np.float32))
    sharpened = EffectiveRecipe(
        foundation=current_foundation(), base=(operator.checked("sharpness", {"amount": 1.0}),)
    )
    found = sharpened_radius(decoded, sharpened, PixelSpec(fit=(1500, 1500)))
    # 0.3 ‰ of the diagonals of 1500 × 1000 and 3000 × 2000.
    assert found == pytest.approx((0.5408, 1.0817), abs=1e-3)
    assert sharpened_radius(decoded, replace(sharpened, base=()), PixelSpec(fit=None)) is None


def test_a_restricted_recipe_keeps_its_finish_steps_by_name() -> None:
    values = {"amount": 0.1, "pivot": -3.0}
    contrast = OperatorValues(name="contrast", version=1, values=values)
    exposure = OperatorValues(name="exposure", version=1, values={"stops": 1.0})
    recipe = EffectiveRecipe(foundation=current_foundation(), base=(exposure,), finish=(contrast, contrast))
    assert restricted(recipe, ["contrast"]).finish == (contrast, contrast)
    assert restricted(recipe, ["contrast"]).base == ()
    assert restricted(recipe, []) == recipe


def test_levels_are_told_of_what_was_recorded_and_of_what_is_shown(place: Studio) -> None:
    raw, picture = place.workspace.exports.viewing.levels(FRAME)
    assert (raw.of, picture.of) == ("raw", "picture")
    assert {channel.samples for channel in (*raw.channels, *picture.channels)} == {64 * 48}
    darker = place.workspace.exports.viewing.levels(f"{SEQUENCE}#3")[1]

    def mean(channel: object) -> float:
        counts = np.array(channel.counts)  # type: ignore[attr-defined]
        return float((counts * np.arange(counts.size)).sum() / counts.sum())

    assert mean(picture.channels[1]) > mean(darker.channels[1])


def test_the_tone_response_is_that_of_the_frame_s_own_recipe_or_of_its_sequence(place: Studio) -> None:
    viewing = place.workspace.exports.viewing
    own, shared = viewing.tone(FRAME), viewing.tone(FRAME, in_sequence=True)
    assert set(own.operators) == {"exposure", "contrast"}
    assert shared.operators == ()
    assert own.points[40].shown > own.points[40].untouched == shared.points[40].shown


def test_a_grey_patch_gives_the_values_that_balance_takes(place: Studio) -> None:
    found = place.workspace.exports.viewing.neutral(FRAME, (0.1, 0.1, 0.9, 0.9))
    assert 2000 <= found.kelvin <= 15000
    assert abs(found.duv) <= 0.03
    with pytest.raises(UsageError, match="no part of the frame"):
        place.workspace.exports.viewing.neutral(FRAME, (0.5, 0.1, 0.4, 0.9))
