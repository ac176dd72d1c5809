"""The plot: cadences, gaps, clocks and file numbers of both cameras."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from archive.demo import night
from archive.model.place import night_of

# CIPA DC-009-2010 (DCF 2.0): directory and file names.
DIRECTORY = re.compile(r"[1-9]\d{2}[0-9A-Z_]{5}")
FILE = re.compile(r"[0-9A-Z_]{4}(?!0000)\d{4}")

both = pytest.mark.parametrize("plan", night.CAMERAS, ids=lambda plan: plan.name)
lengths = pytest.mark.parametrize("frames", [5, 8, 96, 450])


@both
@lengths
def test_frames_follow_at_the_cadence_with_one_gap(plan: night.CameraPlan, frames: int) -> None:
    sequence = [exposure for exposure in night.exposures(plan, frames) if exposure.slot is not None]
    assert len(sequence) == frames
    steps = [(b.true - a.true).total_seconds() for a, b in pairwise(sequence)]
    assert sorted(steps) == [plan.cadence_s] * (frames - 2) + [2 * plan.cadence_s]
    # Count times cadence: one slot is empty, so the span is that of one frame more.
    assert (sequence[-1].true - sequence[0].true).total_seconds() == frames * plan.cadence_s


@both
@lengths
def test_file_numbers_run_on_over_the_gap_and_names_are_dcf(plan: night.CameraPlan, frames: int) -> None:
    made = night.exposures(plan, frames)
    for exposure in made:
        assert DIRECTORY.fullmatch(exposure.folder)
        assert FILE.fullmatch(exposure.stem)
    assert len({(exposure.folder, exposure.stem) for exposure in made}) == len(made)
    for a, b in pairwise(made):
        step = int(b.stem[4:]) - int(a.stem[4:])
        if a.folder == b.folder:
            assert step == 1
        else:
            assert (a.stem[4:], b.stem[4:]) == ("9999", "0001")
            assert int(b.folder[:3]) == int(a.folder[:3]) + 1


@lengths
def test_the_river_card_rolls_over_inside_its_sequence(frames: int) -> None:
    made = night.exposures(night.RIVER, frames)
    assert len({exposure.folder for exposure in made}) == 2
    first = next(exposure for exposure in made if exposure.stem.endswith("0001"))
    assert first.slot is not None and first.slot > 0


def test_the_river_clock_reads_72_seconds_less_than_the_truth() -> None:
    assert {e.true - e.reads for e in night.exposures(night.RIVER, 12)} == {timedelta(seconds=72)}
    assert {e.true - e.reads for e in night.exposures(night.NORTH, 12)} == {timedelta(0)}


@both
def test_everything_happens_in_the_named_night(plan: night.CameraPlan) -> None:
    for exposure in night.exposures(plan, 450):
        assert night_of(exposure.true, night.SITE.longitude) == date.fromisoformat(night.NIGHT)


@both
def test_test_shots_differ_in_exposure_and_come_minutes_before(plan: night.CameraPlan) -> None:
    made = night.exposures(plan, 8)
    tests = [exposure for exposure in made if exposure.slot is None]
    assert len(tests) in (2, 3)
    assert len({exposure.settings for exposure in tests}) == len(tests)
    first = next(exposure for exposure in made if exposure.slot == 0)
    assert all(first.true - exposure.true > timedelta(minutes=10) for exposure in tests)


def test_the_recorded_offset_is_that_of_the_site_in_march() -> None:
    local = datetime(2026, 3, 18, 23, tzinfo=ZoneInfo(night.SITE.zone))
    assert local.strftime("%z") == night.OFFSET.replace(":", "")


def test_an_airliner_is_in_two_frames_and_a_satellite_in_one() -> None:
    seen = [night.flyby(night.NORTH, slot, 96) for slot in range(97)]
    sizes = [len(trail) for trail in seen if trail is not None]
    assert sizes == [90, 90, 70]
    assert all(night.flyby(night.RIVER, slot, 96) is None for slot in range(97))
    first, second = (trail for trail in seen if trail is not None and len(trail) == 90)
    assert second[0, 0] > first[-1, 0]
    assert np.all(first[:, 1] > 0)


def test_one_frame_is_no_sequence() -> None:
    with pytest.raises(ValueError, match="two frames"):
        night.exposures(night.NORTH, 1)
