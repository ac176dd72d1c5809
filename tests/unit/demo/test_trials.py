"""What is tried of every operator, and what is seen of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from support.recipes import frame

from archive.demo import closeups, exhibits, gallery, trials
from archive.engine import operator
from archive.model.product import PixelSpec


@pytest.mark.parametrize("declared", trials.shown_operators(), ids=lambda each: each.name)
def test_every_operator_is_tried_three_times_in_its_range_and_never_neutral(declared: object) -> None:
    looks = trials.looks_of(declared)
    assert len({label for label, _ in looks}) == len(looks) >= 3
    for _, values in looks:
        assert not operator.is_neutral(values)
        assert operator.checked(values.name, values.values) == values


def test_what_needs_dark_frames_of_ones_own_is_not_shown() -> None:
    left = {each.name for each in operator.declarations()} - {e.name for e in trials.shown_operators()}
    assert left == {"dark_frame"}


def test_a_strength_that_runs_one_way_grows() -> None:
    stops = [values["stops"] for _, values in trials.steps(operator.declaration("highlight_recovery"))]
    assert stops == pytest.approx([0.6, 1.4, 2.7], abs=0.11)


def test_a_strength_that_runs_both_ways_is_tried_on_both_sides() -> None:
    labels, values = zip(*trials.steps(operator.declaration("exposure")), strict=True)
    assert [each["stops"] for each in values] == pytest.approx([-2, 7 / 6, 19 / 6], abs=0.17)
    assert labels[0] == "low: stops −2 EV"


def test_kelvins_are_spread_as_the_eye_sees_them() -> None:
    kelvin = [values["kelvin"] for _, values in trials.steps(operator.declaration("balance"))]
    assert kelvin[0] < 5500 < kelvin[1] < kelvin[2]


@pytest.fixture(scope="module")
def close(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the pictures of the frame of high ISO."""
    folder = tmp_path_factory.mktemp("close") / "g"
    fine = tuple(each for each in operator.declarations() if each.name in trials._FINE)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(operator, "declarations", lambda: fine)
        patched.setattr(exhibits, "_SIZE", (960, 640))
        gallery.make_gallery(folder, size=200, demo=1)
    return folder / "01"


def _part(file: Path) -> np.ndarray:
    """The pixels of a part, which is stored enlarged."""
    with Image.open(file) as picture:
        shown = np.asarray(picture).astype(int)
    small = shown[:: closeups.ENLARGED, :: closeups.ENLARGED]
    assert np.array_equal(small.repeat(closeups.ENLARGED, 0).repeat(closeups.ENLARGED, 1), shown)
    return small


def _grain(part: np.ndarray) -> float:
    """Of the luma of ITU-R BT.709, from pixel to pixel."""
    return float(np.abs(np.diff(part @ [0.2126, 0.7152, 0.0722], axis=1)).mean())


@pytest.mark.parametrize("name", ["luminance_noise", "colour_noise", "sharpness"])
def test_what_is_as_fine_as_a_pixel_is_shown_low_mid_and_high_at_every_place(close: Path, name: str) -> None:
    places = [file.name.removeprefix("without-") for file in close.glob("without-*.png")]
    assert len(places) >= 6
    steps = [sorted(close.glob(f"{name}-{number}-*.png")) for number in (1, 2, 3)]
    assert [len(each) for each in steps] == [6, 6, 6]
    for files in zip(*steps, strict=True):
        before = _part(close / files[0].name.replace(f"{name}-1", "without"))
        away = [float(np.abs(_part(file) - before).mean()) for file in files]
        assert before.shape == (closeups.HEIGHT, closeups.WIDTH, 3)
        assert 0 < away[0] <= away[1] * 1.05 <= away[2] * 1.1


def test_grain_is_seen_in_close_looks_before_and_is_less_after(close: Path) -> None:
    """The more the stronger: a low setting once took as much as a high one."""
    for file in close.glob("luminance_noise-1-*.png"):
        before, low, mid, high = (
            _grain(_part(close / file.name.replace("luminance_noise-1", name)))
            for name in ("without", *(f"luminance_noise-{number}" for number in (1, 2, 3)))
        )
        # Two levels of 255 are told apart side by side.
        assert before > 2
        assert low < 0.85 * before
        assert mid < 0.75 * before
        assert high < 1.05 * mid


def test_glowing_samples_are_shown_in_the_middle_of_their_part_and_gone_after(close: Path) -> None:
    files = sorted(close.glob("hot_pixels-1-*.png"))
    assert files
    for file in files:
        before = _part(close / file.name.replace("hot_pixels-1", "without"))
        moved = np.abs(_part(file) - before).max(axis=2)
        assert moved.max() > 20
        assert (before - _part(file)).max() == moved.max()


def test_a_frame_is_told_as_large_as_it_is_shown() -> None:
    """An upright frame was told as wide as its sensor lies."""
    mosaic = np.full((80, 120), 900, np.uint16)
    assert trials.Trial(frame(mosaic, orientation=6), PixelSpec(fit=(40, 40))).sides == (80, 120)
