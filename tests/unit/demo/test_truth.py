"""The scene's own account of its aurora."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import cards, night, truth
from archive.demo.mishaps import Mishaps


@pytest.fixture(scope="module")
def show() -> truth.Activity:
    return truth.activity("north", frames=24)


def test_there_is_one_value_for_every_frame_of_the_sequence(show: truth.Activity) -> None:
    assert show.mean.shape == show.peak.shape == show.redness.shape == (24,)


def test_the_aurora_is_brightest_near_the_middle_of_its_show(show: truth.Activity) -> None:
    assert 0.3 < show.brightest / 24 < 0.65
    assert show.mean[show.brightest] > 3 * show.mean[-1]


def test_the_strongest_light_is_that_of_a_bright_aurora(show: truth.Activity) -> None:
    # Class III, a hundred kilorayleigh, is light 1.0.
    assert 0.4 < show.peak.max() < 3


def test_activity_is_what_the_noiseless_pictures_show(show: truth.Activity) -> None:
    tests = len(night.NORTH.tests)
    lights = [
        cards.scene_light("north", tests + place, size=(144, 96), frames=24)[: round(0.5 * 96), :, 1].mean()
        for place in (1, 6, 10, 14, 22)
    ]
    assert np.corrcoef(lights, show.mean[[1, 6, 10, 14, 22]])[0, 1] > 0.95


def test_a_scene_with_a_mishap_differs_from_its_frame_on_only() -> None:
    tests = len(night.RIVER.tests)
    mishaps = {"river": Mishaps(bump_at=6)}
    for place, same in ((5, True), (6, False)):
        asked = {"size": (96, 64), "frames": 12}
        plain = cards.scene_light("river", tests + place, **asked)
        bumped = cards.scene_light("river", tests + place, mishaps=mishaps, **asked)
        assert np.array_equal(plain, bumped) is same


def test_the_scene_is_the_same_at_every_size() -> None:
    small = cards.scene_light("north", 12, size=(144, 96), frames=24).mean(axis=(0, 1))
    large = cards.scene_light("north", 12, size=(576, 384), frames=24).mean(axis=(0, 1))
    np.testing.assert_allclose(small, large, rtol=0.06)


def test_an_unknown_camera_is_no_camera() -> None:
    with pytest.raises(StopIteration):
        truth.plan_of("south")
