"""The whole picture: the land takes the sky's light, and the ice mirrors it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from archive.demo import night
from archive.demo.picture import View


@pytest.fixture(scope="module")
def view() -> View:
    plan = night.RIVER
    return View(
        width=120,
        height=180,
        half=plan.half,
        azimuth=plan.azimuth,
        horizon=plan.horizon,
        latitude=night.SITE.latitude,
        longitude=night.SITE.longitude,
        seed=20260318,
    )


def light(view: View, share: float) -> np.ndarray:
    moment = night.SHOW + timedelta(seconds=share * night.show_seconds(96))
    return view.light(moment, night.mood_at(moment, 96))


def test_light_is_finite_positive_and_of_the_asked_size(view: View) -> None:
    picture = light(view, 0.4)
    assert picture.shape == (180, 120, 3) and picture.dtype == np.float32
    assert np.isfinite(picture).all() and picture.min() >= 0


def test_snow_brightens_and_turns_green_with_the_aurora(view: View) -> None:
    dark, bright = light(view, 1.05)[140:].mean(axis=(0, 1)), light(view, 0.45)[140:].mean(axis=(0, 1))
    assert bright[1] > 2.5 * dark[1]
    assert bright[1] > 1.1 * bright[0]


def test_the_ice_holds_an_upside_down_sky(view: View) -> None:
    picture = light(view, 0.40)[..., 1].astype(np.float64)
    horizon = round(night.RIVER.horizon * 180)
    above = picture[horizon - 40 : horizon - 12].mean(axis=0)
    below = picture[horizon + 12 : horizon + 40].mean(axis=0)
    assert np.corrcoef(above, below)[0, 1] > 0.5


def test_the_same_moment_is_the_same_picture(view: View) -> None:
    np.testing.assert_array_equal(light(view, 0.5), light(view, 0.5))


def test_a_trail_adds_light_only_along_itself(view: View) -> None:
    moment = night.SHOW
    mood = night.mood_at(moment, 96)
    trail = np.array([[x, 0.8, 1.0, 1.0, 1.0] for x in np.linspace(-0.2, 0.2, 30)])
    added = view.light(moment, mood, trail) - view.light(moment, mood)
    rows = np.flatnonzero(added[..., 1].max(axis=1) > 0.02)
    wanted = 132 - 0.8 * 120 / (2 * night.RIVER.half)
    assert abs(rows.mean() - wanted) < 2.5
    # A few rows of the trail itself, and one on each side from the low-pass filter.
    assert len(rows) < 14


def test_the_mirror_image_of_a_light_lies_as_far_below_the_horizon_as_the_light_above(view: View) -> None:
    moment, mood = night.SHOW, night.mood_at(night.SHOW, 96)
    plain = view.light(moment, mood)
    horizon = round(night.RIVER.horizon * 180)
    # What the ice shows is the sky upside down: rows at equal distances are correlated best.
    sky = plain[:horizon, :, 1].astype(np.float64)
    ice = plain[horizon:, :, 1].astype(np.float64)
    at = 30
    wanted = ice[at] / ice[at].mean()
    above = [sky[horizon - 1 - row] / sky[horizon - 1 - row].mean() for row in range(4, 100)]
    best = 4 + int(np.argmin([np.abs(row - wanted).sum() for row in above]))
    assert abs(best - at) <= 14
