from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.model.capture import CaptureFacts
from archive.survey.courses import MOST_PARTS, course, gain_stops


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("courses"))
    yield made
    made.workspace.close()


def test_settings_count_in_stops() -> None:
    assert gain_stops(CaptureFacts(exposure_s=8, iso=3200, f_number=2.0)) == pytest.approx(3 + 5 - 2)
    assert gain_stops(CaptureFacts()) == 0


def test_a_course_has_means_of_parts_and_the_place_of_a_frame(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    light = {frame.id: float(at) for at, frame in enumerate(frames) if at != 3}
    found = course(frames, light, frames[4])
    assert found is not None
    assert found.parts == (0.0, 1.0, 2.0, None, 4.0, 5.0)
    assert (found.low, found.high, found.at, found.stops) == (0.0, 5.0, 4, 4.0)
    unseen = course(frames, light, frames[3])
    assert unseen is not None and (unseen.at, unseen.stops) == (3, None)
    assert course(frames, {}) is None


def test_a_long_sequence_is_told_in_few_parts(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)] * 25
    found = course(frames, {frame.id: float(at) for at, frame in enumerate(frames[:6])}, frames[5])
    assert found is not None
    assert len(found.parts) == MOST_PARTS
    assert found.at == 2


def test_only_what_was_surveyed_has_a_course(place: Studio) -> None:
    workspace = place.workspace
    (line,) = workspace.courses.told(workspace.sequences())
    assert line.course is None
    assert workspace.story("NOCT0003.JPG").course is None
    workspace.survey.run(progress=lambda _stage, _done, _total: None)
    (line,) = workspace.courses.told(workspace.sequences())
    assert line.course is not None and len(line.course.parts) == 6
    told = workspace.story("NOCT0003.JPG").course
    assert told is not None
    assert (told.parts, told.at) == (line.course.parts, 2)
    assert told.stops == pytest.approx(told.parts[2], abs=0.02)


def test_no_arrays_are_loaded_for_it() -> None:
    code = "import sys, archive.workspace; sys.exit('numpy' in sys.modules)"
    assert (
        subprocess.run([sys.executable, "-c", code], check=False, cwd=Path(__file__).parents[3]).returncode
        == 0
    )
