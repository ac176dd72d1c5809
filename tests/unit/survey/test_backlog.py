"""What is still to be measured, found without going through everything."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import event
from support.cards import BEGIN, archive_in, site_of, spoil, tiny_card

from archive.catalogue import backlog as catalogued
from archive.engine.surveyor import Look
from archive.model.capture import Frame
from archive.model.survey import METHOD
from archive.store import userplace
from archive.survey import backlog, records, run
from archive.workspace import Workspace, open_archive


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Workspace]:
    """Three nights of one camera, six frames each, nothing surveyed."""
    workspace = archive_in(tmp_path / "a")
    take(workspace, tmp_path, nights=(0, 1, 2))
    yield workspace
    workspace.close()


def take(workspace: Workspace, folder: Path, nights: tuple[int, ...]) -> None:
    for night in nights:
        card = tiny_card(folder / f"card-{night}", begin=BEGIN + timedelta(days=night), first=1 + 6 * night)
        workspace.ingest.take([card], site=site_of(workspace))


def quiet(_stage: str, _done: int, _total: int) -> None:
    pass


def statements(workspace: Workspace) -> list[str]:
    asked: list[str] = []
    event.listen(
        workspace.books.catalogue.engine, "before_cursor_execute", lambda *told: asked.append(told[2])
    )
    return asked


def test_of_all_that_waits_one_roll_at_a_time_is_held(
    place: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "_processors", lambda: 1)
    looked = run.look
    seen = 0
    loaded: list[tuple[int, int]] = []

    def looking(*args: object) -> Look:
        nonlocal seen
        seen += 1
        return looked(*args)  # type: ignore[arg-type]

    def loading(catalogue: object, roll: str) -> list[Frame]:
        frames = catalogued.frames_of_roll(catalogue, roll)  # type: ignore[arg-type]
        loaded.append((len(frames), seen))
        return frames

    monkeypatch.setattr(run, "look", looking)
    monkeypatch.setattr(backlog, "frames_of_roll", loading)
    monkeypatch.setattr(place.books.catalogue, "frames", None)
    told: list[tuple[str, int, int]] = []
    report = place.survey.run(progress=lambda *each: told.append(each))
    assert (report.measured, report.held) == (18, 0)
    # Each roll is loaded once, and only when what was loaded before is all but looked at.
    assert [count for count, _ in loaded] == [6, 6, 6]
    assert all(before >= 6 * at - 3 for at, (_, before) in enumerate(loaded))
    # The oldest night comes first, and how much there is is told from the first frame on.
    assert [folder[:10] for folder in report.rolls] == ["2026-03-18", "2026-03-19", "2026-03-20"]
    assert [each for each in told if each[0] == "Surveying"] == [
        ("Surveying", count, 18) for count in range(1, 19)
    ]


def test_where_nothing_is_left_no_record_is_read_and_few_statements_are_asked(
    place: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place.survey.run(progress=quiet)
    assert place.survey.run(progress=quiet).held == 18
    asked = statements(place)
    with monkeypatch.context() as patch:
        patch.setattr(records, "read_document", None)
        assert place.survey.run(progress=quiet).held == 18
    few = len(asked)
    take(place, tmp_path, nights=(3, 4, 5))
    place.survey.run(progress=quiet)
    assert place.survey.run(progress=quiet).held == 36
    asked.clear()
    assert place.survey.run(progress=quiet).held == 36
    assert 0 < len(asked) == few


def test_only_rolls_that_changed_are_read_again(
    place: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place.survey.run(progress=quiet)
    place.survey.run(progress=quiet)
    document = next((tmp_path / "a" / "survey").glob("*/measures-*.json"))
    document.unlink()
    read: list[str] = []
    surveyed = records.surveyed_frames

    def reading(volumes: object, folder: str, **asked: object) -> object:
        read.append(folder)
        return surveyed(volumes, folder, **asked)  # type: ignore[arg-type]

    monkeypatch.setattr(backlog, "surveyed_frames", reading)
    report = place.survey.run(progress=quiet)
    assert (report.measured, report.held) == (6, 12)
    assert {folder.rpartition("/")[2] for folder in read} == {document.parent.name}


def test_what_a_person_names_is_read_whatever_was_noted(place: Workspace, tmp_path: Path) -> None:
    place.survey.run(progress=quiet)
    place.survey.run(progress=quiet)
    document = next((tmp_path / "a" / "survey").glob("*/measures-*.json"))
    spoil(document)
    (folder,) = [each for each in place.books.catalogue.rolls() if each.endswith(document.parent.name)]
    report = place.survey.run(folder[:10], progress=quiet)
    assert (report.measured, report.held) == (6, 0)


def test_a_note_that_cannot_be_read_or_kept_costs_only_time(place: Workspace, tmp_path: Path) -> None:
    place.survey.run(progress=quiet)
    place.survey.run(progress=quiet)
    (note,) = userplace.cache_folder(place.books.home.mark.archive).glob("surveyed-*.json")
    note.write_text("[1, 2")
    assert place.survey.run(progress=quiet).held == 18
    note.unlink()
    note.mkdir()
    assert place.survey.run(progress=quiet).held == 18


def test_a_volume_that_comes_beside_is_given_what_was_noted_complete_elsewhere(
    place: Workspace, tmp_path: Path
) -> None:
    place.survey.run(progress=quiet)
    place.survey.run(progress=quiet)
    with open_archive(tmp_path / "a", also=[tmp_path / "red"], person="Ingrid") as both:
        report = both.survey.run(progress=quiet)
    assert (report.measured, report.held, report.copied) == (0, 18, 3)


@pytest.mark.parametrize("missing", [0, 1])
def test_a_roll_that_lacks_frames_is_measured_by_one_method_throughout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, missing: int
) -> None:
    """What an earlier method measured whole stays; beside new records it would look another way."""
    workspace = archive_in(tmp_path / "b")
    take(workspace, tmp_path, nights=(0,))
    frames = catalogued.frames_of_roll(workspace.books.catalogue, catalogued_roll(workspace))
    with monkeypatch.context() as earlier:
        earlier.setattr(run, "METHOD", METHOD - 1)
        part = backlog.named_frames(workspace.books, frames[missing:])
        assert run.run_survey(workspace.books, part, progress=quiet).measured == 6 - missing
    report = workspace.survey.run(progress=quiet)
    assert (report.measured, report.held) == ((6, 0) if missing else (0, 6))
    seen = records.seen_of(workspace.books, frames)
    assert {each.method for each in seen.values()} == {METHOD if missing else METHOD - 1}
    assert workspace.survey.run(progress=quiet).held == 6
    workspace.close()


def catalogued_roll(workspace: Workspace) -> str:
    (roll,) = catalogued.rolls_of_frames(workspace.books.catalogue)
    return roll.id
