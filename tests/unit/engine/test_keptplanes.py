"""Planes kept between two looks at a picture, and that nobody can tell from the picture."""

import weakref
from dataclasses import replace

import numpy as np
import pytest
from support.recipes import DARK, STRONG, frame, recipe
from support.tinydng import WHITE, night_mosaic

from archive.engine import operator, pipeline
from archive.engine.declaration import registry
from archive.engine.keptplanes import KeptPlanes
from archive.engine.lensmodel import LensModel
from archive.engine.operators.lens import Distortion
from archive.engine.pipeline import render
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe

SMALL = PixelSpec(fit=(120, 120))


def with_operators(*names: str) -> EffectiveRecipe:
    return replace(recipe(), base=tuple(operator.checked(name, STRONG[name]) for name in names))


def planes(value: float, size: int = 4) -> np.ndarray:
    return np.full((3, size, size), value, np.float32)


def test_the_operators_tried_here_are_all_but_the_dark_frame() -> None:
    assert {*STRONG, *DARK} == {name for name, _ in registry}


@pytest.mark.parametrize("changed", sorted(STRONG))
def test_a_picture_after_any_one_change_is_that_made_without_kept_planes(changed: str) -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    everything, without = with_operators(*STRONG), with_operators(*(set(STRONG) - {changed}))
    for each in (everything, without, everything, recipe()):
        assert np.array_equal(render(decoded, each, SMALL, kept=kept), render(decoded, each, SMALL))


def test_after_a_change_of_exposure_the_sensor_is_not_gone_back_to(monkeypatch: pytest.MonkeyPatch) -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    render(decoded, with_operators("luminance_noise", "exposure"), SMALL, kept=kept)

    def touched(*_: object, **__: object) -> None:
        raise AssertionError("sampled again")

    monkeypatch.setattr(pipeline.sampling, "sampled", touched)
    render(decoded, with_operators("luminance_noise", "contrast", "sharpness"), SMALL, kept=kept)
    with pytest.raises(AssertionError, match="sampled again"):
        render(decoded, with_operators("balance", "luminance_noise"), SMALL, kept=kept)
    with pytest.raises(AssertionError, match="sampled again"):
        render(decoded, with_operators("luminance_noise"), PixelSpec(fit=(100, 100)), kept=kept)


def test_gains_of_the_corners_are_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    render(decoded, with_operators("vignetting", "fall_off"), SMALL, kept=kept)

    def found_again(*_: object) -> None:
        raise AssertionError("found again")

    monkeypatch.setattr(pipeline.sampling, "evening", found_again)
    render(decoded, with_operators("vignetting", "fall_off", "exposure"), SMALL, kept=kept)
    for names in (("vignetting",), ("vignetting", "fall_off", "distortion")):
        with pytest.raises(AssertionError, match="found again"):
            render(decoded, with_operators(*names), SMALL, kept=kept)


def test_clipped_light_is_rebuilt_as_far_as_the_present_recovery_says_not_the_last() -> None:
    mosaic = night_mosaic()
    mosaic[40:80, 60:140] = np.where(np.indices((40, 80)).sum(axis=0) % 2, WHITE, WHITE // 2)
    decoded, kept = frame(mosaic), KeptPlanes()
    seen = []
    for stops in (0.0, 0.1, 0.2, 1.0, 2.0, 0.1, 0.0):
        recovered = recipe(f"highlight_recovery.stops={stops}")
        made = render(decoded, recovered, SMALL, kept=kept)
        assert np.array_equal(made, render(decoded, recovered, SMALL))
        seen.append(made)
    assert not np.array_equal(seen[0], seen[1])


def test_gains_of_the_corners_follow_the_lens_where_it_shows_the_same_part_of_the_frame() -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    height, width = decoded.pixels.shape
    # One half diagonal is where this model changes nothing: the corners stay, and all is filled.
    bent = recipe("vignetting.corner=4", "distortion.k1=0.05", "distortion.unit=1")
    assert LensModel(distortion=Distortion(k1=0.05, unit=1.0)).filled(width, height) == 1
    for each in (recipe("vignetting.corner=4"), bent, recipe("vignetting.corner=4")):
        assert np.array_equal(render(decoded, each, SMALL, kept=kept), render(decoded, each, SMALL))


def test_a_picture_for_a_movie_is_not_that_of_odd_sides_that_was_kept() -> None:
    decoded, kept, odd = frame(night_mosaic()), KeptPlanes(), PixelSpec(fit=(101, 101))
    for each in (odd, replace(odd, even=True), odd):
        assert np.array_equal(render(decoded, recipe(), each, kept=kept), render(decoded, recipe(), each))


def test_another_frame_of_the_same_recipe_is_another_picture() -> None:
    kept = KeptPlanes()
    one, other = frame(night_mosaic()), frame(night_mosaic() // 2)
    assert not np.array_equal(
        render(one, recipe(), SMALL, kept=kept), render(other, recipe(), SMALL, kept=kept)
    )


def test_evening_the_corners_out_begins_at_the_kept_planes(monkeypatch: pytest.MonkeyPatch) -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    render(decoded, with_operators("luminance_noise"), SMALL, kept=kept)
    changed = with_operators("luminance_noise", "vignetting", "fall_off")
    expected = render(decoded, changed, SMALL)

    def touched(*_: object, **__: object) -> None:
        raise AssertionError("sampled again")

    monkeypatch.setattr(pipeline.sampling, "sampled", touched)
    assert np.array_equal(render(decoded, changed, SMALL, kept=kept), expected)


def test_another_strength_of_noise_reduction_begins_at_the_noisy_planes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    decoded, kept = frame(night_mosaic()), KeptPlanes()
    render(decoded, with_operators("hot_pixels"), SMALL, kept=kept)
    changed = with_operators("hot_pixels", "luminance_noise", "colour_noise")
    expected = render(decoded, changed, SMALL)

    def touched(*_: object, **__: object) -> None:
        raise AssertionError("sampled again")

    monkeypatch.setattr(pipeline.sampling, "sampled", touched)
    for _ in range(2):
        assert np.array_equal(render(decoded, changed, SMALL, kept=kept), expected)


def test_what_is_kept_cannot_be_written_by_who_has_it() -> None:
    kept, given = KeptPlanes(), planes(1)
    kept.put("a", (given, 0.5))
    found = kept.get("a")
    assert found is not None and found[1] == 0.5
    for each in (given, found[0]):
        with pytest.raises(ValueError, match="read-only"):
            each[:] = 9
    assert kept.get("b") is None


def test_the_longest_unused_planes_go_first_and_too_large_ones_are_not_kept() -> None:
    kept = KeptPlanes(2 * planes(0).nbytes)
    for key in "ab":
        kept.put(key, (planes(1), 0.0))
    kept.get("a")
    kept.put("c", (planes(2), 0.0))
    kept.put("huge", (planes(3, size=40), 0.0))
    assert [key for key in ("a", "b", "c", "huge") if kept.get(key) is not None] == ["a", "c"]


def test_of_one_kind_the_last_used_three_are_kept_beside_all_others() -> None:
    kept = KeptPlanes()
    for key in ("noisy", "other"):
        kept.put(key, (planes(1), 0.0))
    for key in ("1", "2", "3"):
        kept.put(key, (planes(2), 0.0), kind="calm")
    kept.get("1")
    kept.put("4", (planes(2), 0.0), kind="calm")
    names = ("noisy", "other", "1", "2", "3", "4")
    assert [key for key in names if kept.get(key) is not None] == ["noisy", "other", "1", "3", "4"]


def test_a_frame_that_nobody_else_holds_is_not_held_by_its_planes() -> None:
    kept, names = KeptPlanes(), ("luminance_noise", "vignetting")
    gone = []
    for _ in range(3):
        decoded = frame(night_mosaic())
        render(decoded, with_operators(*names), SMALL, kept=kept)
        gone.append(weakref.ref(decoded))
        del decoded
    assert [each() for each in gone] == [None, None, None]


def test_planes_go_when_the_frame_that_they_were_made_from_is_gone() -> None:
    kept, one, other = KeptPlanes(), frame(night_mosaic()), frame(night_mosaic())
    kept.put("one", (planes(1), 0.0), source=weakref.ref(one))
    kept.put("other", (planes(1), 0.0), source=weakref.ref(other))
    kept.put("nobody's", (planes(1), 0.0))
    del one
    kept.put("next", (planes(1), 0.0))
    names = ("one", "other", "nobody's", "next")
    assert [key for key in names if kept.get(key) is not None] == ["other", "nobody's", "next"]
