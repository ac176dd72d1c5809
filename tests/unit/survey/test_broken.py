"""Records and previews that rotted: found whoever meets them, mended from a copy or measured again."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import ArchiveError, Exit
from archive.model.survey import METHOD
from archive.survey import run
from archive.survey.backlog import named_frames
from archive.survey.pictures import preview_picture
from archive.survey.records import seen_of
from archive.workspace import Workspace, open_archive

FILES = {"document": "measures-*.json", "preview": "previews/*.jpg", "slices": "slices/*.png"}


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    """Six frames, surveyed in documents of two, and noted as complete."""
    made = studio(tmp_path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "MOST_FRAMES", 2)
        survey(made.workspace)
        assert survey(made.workspace) == (0, 6)
        yield made
    made.workspace.close()


def quiet(_stage: str, _done: int, _total: int) -> None:
    pass


def survey(workspace: Workspace, name: str | None = None) -> tuple[int, int]:
    report = workspace.survey.run(name, progress=quiet)
    assert report.failed == ()
    return report.measured, report.held


def faults(workspace: Workspace) -> list[str]:
    return [finding.path for finding in workspace.custody.audit(quiet).findings]


def one_of(root: Path, kind: str) -> Path:
    return sorted((root / "survey").glob(f"*/{FILES[kind]}"))[1]


def flip(path: Path) -> None:
    """One bit is another, and nothing else tells it."""
    before, data = path.stat(), bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.chmod(0o600)
    path.write_bytes(data)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def contents(root: Path) -> dict[str, bytes]:
    files = (path for path in (root / "survey").rglob("*") if path.is_file())
    return {str(path.relative_to(root)): path.read_bytes() for path in files}


def meet(workspace: Workspace, kind: str) -> None:
    """Something of the survey is asked for."""
    frames = workspace.books.catalogue.frames()
    seen = seen_of(workspace.books, frames)
    for frame in frames if kind == "preview" else ():
        try:
            preview_picture(workspace.books, seen[frame.id])
        except ArchiveError:
            continue
    if kind == "slices":
        workspace.survey.keogram(SEQUENCE)


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("met_by", ["audit", "a reader"])
def test_a_flipped_bit_that_was_met_is_made_good_by_the_next_survey(
    place: Studio, kind: str, met_by: str
) -> None:
    """Of a document with the same name, size and time the survey said that all was held already, for ever."""
    sound = contents(place.root)
    flip(one_of(place.root, kind))
    if met_by == "audit":
        assert len(faults(place.workspace)) == 1
    else:
        meet(place.workspace, kind)
    assert survey(place.workspace) == (2, 4)
    assert contents(place.root) == sound
    assert faults(place.workspace) == []
    assert survey(place.workspace) == (0, 6)


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("damage", [flip, Path.unlink], ids=["flipped", "missing"])
def test_what_a_person_names_is_proven_and_made_again(place: Studio, kind: str, damage: object) -> None:
    """Previews that were damaged or missing were never made again, though it was said that a survey does."""
    sound = contents(place.root)
    damage(one_of(place.root, kind))  # type: ignore[operator]
    assert survey(place.workspace, SEQUENCE) == (2, 4)
    assert contents(place.root) == sound
    assert survey(place.workspace, SEQUENCE) == (0, 6)


def test_all_frames_of_a_broken_document_are_measured_again_if_one_of_them_is_named(place: Studio) -> None:
    sound = contents(place.root)
    frames = place.workspace.books.catalogue.frames()
    seen = seen_of(place.workspace.books, frames[:1])[frames[0].id]
    flip(place.root / seen.folder / seen.surveyed.preview.path)
    assert survey(place.workspace, f"{SEQUENCE}#1") == (2, 0)
    assert contents(place.root) == sound


def test_a_damaged_document_that_does_not_come_again_goes_once_its_roll_is_measured(place: Studio) -> None:
    """It is named by other bytes than it holds, and audits would tell of it for ever."""
    frames = place.workspace.books.catalogue.frames()
    damaged = place.root / seen_of(place.workspace.books, frames[:1])[frames[0].id].folder
    damaged /= seen_of(place.workspace.books, frames[:1])[frames[0].id].document
    flip(damaged)
    with pytest.MonkeyPatch.context() as patch:
        # One frame by itself: another document than the one that was damaged.
        patch.setattr(run, "MOST_FRAMES", 1)
        part = named_frames(place.workspace.books, frames[:1])
        report = run.run_survey(place.workspace.books, part, progress=quiet)
    assert report.measured == 1
    # The other frame that it told of is not measured yet.
    assert [note.text for note in report.failed] == [
        "is damaged, and stays until all its frames are measured again"
    ]
    assert damaged.exists()
    assert survey(place.workspace) == (1, 5)
    assert not damaged.exists()
    assert faults(place.workspace) == []


def test_documents_of_an_earlier_method_give_way_where_their_previews_are_gone(tmp_path: Path) -> None:
    place = studio(tmp_path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "METHOD", METHOD - 1)
        survey(place.workspace)
    (old,) = (place.root / "survey").glob("*/measures-*.json")
    sorted((place.root / "survey").glob("*/previews/*"))[0].unlink()
    assert survey(place.workspace, SEQUENCE) == (6, 0)
    assert not old.exists()
    assert faults(place.workspace) == []
    place.workspace.close()


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("on", ["archive", "red"])
def test_what_another_volume_has_sound_is_brought_and_not_measured(
    place: Studio, tmp_path: Path, kind: str, on: str
) -> None:
    sound = contents(place.root)
    with open_archive(place.root, also=[tmp_path / "red"], person="Ingrid") as both:
        assert both.survey.run(progress=quiet).copied == 3
        flip(one_of(tmp_path / on, kind))
        assert len(faults(both)) == 1
        report = both.survey.run(progress=quiet)
        assert (report.measured, report.copied, report.failed) == (0, 1, ())
        assert contents(tmp_path / "red") == contents(place.root) == sound
        assert faults(both) == []
        assert both.custody.mend_records().mended == ()


def test_what_cannot_be_made_again_is_told_and_stays(place: Studio) -> None:
    broken, preview = one_of(place.root, "document"), one_of(place.root, "preview")
    flip(preview)
    for master in (place.root / "masters").rglob("*.JPG"):
        master.unlink()
    before = contents(place.root)
    report = place.workspace.survey.run(SEQUENCE, progress=quiet)
    assert (report.measured, report.exit_code) == (0, Exit.ATTENTION)
    assert "could not be made again" in report.failed[-1].text
    assert contents(place.root) == before
    (told,) = place.workspace.survey.told(SEQUENCE)
    assert (len(told.lines), told.unseen) == (6, 0)
    flip(broken)
    report = place.workspace.survey.run(progress=quiet)
    assert any("is damaged, and stays" in note.text for note in report.failed)
    assert broken.exists()


def test_a_document_that_a_newer_release_wrote_is_left_alone(place: Studio) -> None:
    document = one_of(place.root, "document")
    newer = document.with_name(document.name.replace(f"measures-{METHOD:02d}", "measures-99"))
    newer.write_bytes(b"{}")
    report = place.workspace.survey.run(SEQUENCE, progress=quiet)
    assert report.measured == 0
    assert newer.read_bytes() == b"{}"


def test_a_document_that_cannot_be_removed_is_told(place: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = place.workspace.books.catalogue.frames()
    seen = seen_of(place.workspace.books, frames[:1])[frames[0].id]
    flip(place.root / seen.folder / seen.document)
    remove = place.workspace.books.home.disk.remove

    def failing(path: str) -> None:
        if "measures-" in path:
            raise OSError(30, "Read-only file system")
        remove(path)

    monkeypatch.setattr(run, "MOST_FRAMES", 1)
    monkeypatch.setattr(place.workspace.books.home.disk, "remove", failing)
    assert len(faults(place.workspace)) == 1
    report = place.workspace.survey.run(progress=quiet)
    assert report.measured == 2
    assert [note.text for note in report.failed] == [
        "is of no use, and cannot be removed: Read-only file system"
    ]
    monkeypatch.undo()
    assert survey(place.workspace) == (0, 6)
    assert faults(place.workspace) == []
