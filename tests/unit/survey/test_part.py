"""The survey's answers by name."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.cards import site_of, tiny_card
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError
from archive.model.survey import Basis


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("part"))
    yield made
    made.workspace.close()


def test_what_was_not_surveyed_says_so_and_how(place: Studio) -> None:
    (told,) = place.workspace.survey.told(SEQUENCE)
    assert (told.name, told.lines, told.unseen) == (SEQUENCE, (), 6)
    with pytest.raises(UsageError, match="was surveyed yet") as caught:
        place.workspace.survey.surveyed(SEQUENCE)
    assert f"noctuary survey {SEQUENCE}" in caught.value.hint


def test_a_night_is_told_by_its_sequences(place: Studio) -> None:
    place.workspace.survey.run("2026-03-18", progress=lambda _stage, _done, _total: None)
    (told,) = place.workspace.survey.told("2026-03-18")
    assert told.name == SEQUENCE
    assert [line.position for line in told.lines] == [1, 2, 3, 4, 5, 6]
    assert told.zone == "Europe/Oslo"
    found, pairs = place.workspace.survey.surveyed(f"{SEQUENCE}#2..4")
    assert [frame.index for frame, _ in pairs] == [2, 3, 4]
    assert len(found.frames) == 3


def test_what_is_told_of_one_row_is_asked_of_one_camera(tmp_path: Path) -> None:
    place = studio(tmp_path)
    card = tiny_card(tmp_path / "other", serial="000521", model="Other", first=101)
    place.workspace.ingest.take([card], site=site_of(place.workspace), camera_name="two")
    place.workspace.survey.run(progress=lambda _stage, _done, _total: None)
    survey = place.workspace.survey
    for ask in (survey.keogram, survey.suggest, lambda night: list(survey.previews(night))):
        with pytest.raises(UsageError, match="several cameras"):
            ask("2026-03-18")
        ask("2026-03-18/two")
    place.workspace.close()


def test_an_answer_counts_the_frames_that_it_could_not_use(tmp_path: Path) -> None:
    place = studio(tmp_path)
    survey = place.workspace.survey
    survey.run(f"{SEQUENCE}#1..5", progress=lambda _stage, _done, _total: None)
    assert survey.suggest(SEQUENCE).basis == Basis(name=SEQUENCE, frames=6, unseen=1)
    for preview in sorted((place.root / "survey").glob("*/previews/*"))[:2]:
        preview.unlink()
    previews = survey.previews(SEQUENCE)
    assert len(list(previews)) == 3
    assert previews.basis(2) == Basis(name=SEQUENCE, frames=6, unseen=1, unusable=2, unlike=1)
    next((place.root / "survey").glob("*/slices/*")).unlink()
    assert survey.keogram(SEQUENCE).basis == Basis(name=SEQUENCE, frames=6, unseen=1, unusable=5)
    place.workspace.close()


def test_a_part_too_short_to_level_is_not_sent_to_be_surveyed(place: Studio) -> None:
    with pytest.raises(UsageError, match="has 3 frames; levelling needs at least") as caught:
        place.workspace.level(f"{SEQUENCE}#1..3")
    assert "survey" not in caught.value.hint
