"""What was surveyed, read back."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.survey.records import seen_of


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    made.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    yield made
    made.workspace.close()


def test_a_damaged_document_is_passed_over(place: Studio) -> None:
    (document,) = (place.root / "survey").rglob("measures-*.json")
    document.chmod(0o600)
    document.write_bytes(document.read_bytes()[:-5])
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    assert seen_of(place.workspace.books, frames) == {}


def test_frames_are_found_with_their_measures_and_the_size_of_their_previews(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    seen = seen_of(place.workspace.books, frames[:2])
    assert set(seen) == {frame.id for frame in frames[:2]}
    assert {each.size for each in seen.values()} == {(64, 48)}
