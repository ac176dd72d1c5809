from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.rampsheet import gathered
from archive.model.capture import CaptureFacts

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_light_gathered_is_told_in_stops() -> None:
    assert gathered(CaptureFacts(exposure_s=1.0, f_number=1.0, iso=100)) == 0
    assert gathered(CaptureFacts(exposure_s=8.0, f_number=2.0, iso=3200)) == 6
    assert gathered(CaptureFacts(exposure_s=8.0, f_number=2.0)) is None
    assert gathered(CaptureFacts(f_number=2.0, iso=3200)) is None


def test_a_sheet_has_every_frame_of_the_run_and_its_zone(place: Studio) -> None:
    found = place.workspace.recipes.ramps.of(SEQUENCE)
    assert (len(found.frames), found.zone, found.ramps, found.outside) == (6, "Europe/Oslo", (), ())
    assert list(found.taken) == sorted(found.taken)
    assert len(set(found.exposure)) == 1


def test_a_part_shows_its_own_values_and_only_the_anchors_within(place: Studio) -> None:
    place.workspace.recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"], rule="linear")
    place.workspace.recipes.ramps.add(SEQUENCE, "chroma.amount", ["#1=0", "#6=0.5"])
    found = place.workspace.recipes.ramps.of(f"{SEQUENCE}#4..6")
    assert [line.parameter for line in found.ramps] == ["chroma.amount", "exposure.stops"]
    assert found.ramps[1].values == (-0.1, -0.3, -0.5)
    assert [anchor.position for anchor in found.ramps[1].anchors] == [6]


def test_frames_whose_own_version_decides_in_sequences_are_named_for_their_operator(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"])
    recipes.ramps.add(SEQUENCE, "chroma.amount", ["#1=0", "#6=0.5"])
    recipes.set(FRAME, ["exposure.stops=0.9"], in_sequence=True)
    recipes.set(f"{SEQUENCE}#4", ["exposure.stops=0.9"])
    found = {line.parameter: line.overridden for line in recipes.ramps.of(SEQUENCE).ramps}
    assert found == {"chroma.amount": (), "exposure.stops": (1,)}


def test_brightness_is_that_of_the_survey_where_there_is_one(place: Studio) -> None:
    ramps = place.workspace.recipes.ramps
    assert not ramps.of(SEQUENCE).surveyed
    place.workspace.survey.run(SEQUENCE, progress=lambda *_: None)
    found = ramps.of(SEQUENCE)
    assert found.surveyed and len(found.brightness) == 6
    assert all(value is not None and -20 < value <= 0 for value in found.brightness)
