"""Two working copies made alike, and an archive that was begun apart."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from support.cards import archive_in, spoil
from support.exports import SEQUENCE, Studio, studio

from archive.errors import ArchiveError, Exit
from archive.formats.hashlist import HashedFile
from archive.store import volumes
from archive.workspace import Workspace, open_archive

FIRST, SECOND = f"{SEQUENCE}#1", f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio(tmp_path)


def copy_of(place: Studio, folder: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    """The archive copied whole to another machine, whose user has a cache of their own."""
    shutil.copytree(place.root, folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    return open_archive(folder, person="Ragna")


def rated(workspace: Workspace, name: str) -> int:
    return workspace.frames(name)[0].rating


def test_two_copies_are_alike_after_either_took_the_other_in(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = copy_of(place, tmp_path / "copy", tmp_path / "cache", monkeypatch)
    place.workspace.statements.rate([FIRST], 5)
    copy.statements.rate([SECOND], 3)
    copy.statements.rate([SECOND], 4)
    report = place.workspace.custody.unite(tmp_path / "copy")
    assert (report.done, report.same_archive, report.entries, report.given) == (True, True, 2, 1)
    assert (report.kinds, report.persons, report.exit_code) == ((("rating", 2),), ("Ragna",), Exit.DONE)
    copy.books.sync()
    assert [rated(place.workspace, name) for name in (FIRST, SECOND)] == [5, 4]
    assert copy.books.catalogue.dump() == place.workspace.books.catalogue.dump()
    again = copy.custody.unite(place.root)
    assert (again.entries, again.given, again.rolls, again.faults) == (0, 0, (), ())
    copy.close()


def test_an_archive_begun_apart_is_only_looked_at_until_it_is_meant(place: Studio, tmp_path: Path) -> None:
    other = archive_in(tmp_path / "other", "GREEN")
    before = sorted(path.name for path in (tmp_path / "other").rglob("*.json"))
    report = other.custody.unite(place.root)
    assert (report.done, report.same_archive, report.exit_code) == (False, False, Exit.REFUSED)
    assert report.entries == len(list((place.root / "journal").rglob("*.json")))
    (roll,) = report.rolls
    assert roll.folder.startswith("2026-03-18/one-")
    assert (roll.files, roll.size) == (6, sum(file.stat().st_size for file in place.card.rglob("*.JPG")))
    assert sorted(path.name for path in (tmp_path / "other").rglob("*.json")) == before
    taken = other.custody.unite(place.root, different=True)
    assert (taken.done, taken.entries, taken.given) == (True, report.entries, 0)
    assert [line.frames for line in other.sequences()] == [6]
    assert other.books.catalogue.copies(other.frame(FIRST).id) == []
    with pytest.raises(ArchiveError, match="not on a mounted volume"):
        other.books.master_bytes(other.frame(FIRST))
    other.close()


def test_a_roll_copied_by_hand_with_its_history_is_held(place: Studio, tmp_path: Path) -> None:
    other = archive_in(tmp_path / "other", "GREEN")
    report = other.custody.unite(place.root, different=True)
    (roll,) = report.rolls
    shutil.copytree(place.root / "masters" / roll.folder, tmp_path / "other/masters" / roll.folder)
    other.books.sync()
    assert other.books.master_bytes(other.frame(FIRST))
    assert other.custody.unite(place.root, different=True).rolls == ()
    other.close()


def test_an_archive_is_not_united_with_itself_or_with_a_folder_that_is_none(
    place: Studio, tmp_path: Path
) -> None:
    with pytest.raises(ArchiveError, match="is this archive itself"):
        place.workspace.custody.unite(place.root)
    with pytest.raises(ArchiveError, match="There is no archive") as caught:
        place.workspace.custody.unite(tmp_path)
    assert "Name the folder of the other archive" in caught.value.hint


def test_a_damaged_entry_stays_there_and_is_told(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = copy_of(place, tmp_path / "copy", tmp_path / "cache", monkeypatch)
    copy.statements.rate([FIRST], 5)
    copy.statements.rate([SECOND], 4)
    first, _ = sorted((tmp_path / "copy/journal").rglob("*-rating-*.json"))
    spoil(first)
    report = place.workspace.custody.unite(tmp_path / "copy")
    assert (report.entries, report.exit_code) == (1, Exit.ATTENTION)
    assert len(report.faults) == 1 and first.name in report.faults[0]
    assert rated(place.workspace, SECOND) == 4
    assert [fault for fault in place.workspace.custody.journal().faults if "is not here" in fault]
    copy.close()


def test_a_copy_that_cannot_be_written_is_taken_in_all_the_same(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = copy_of(place, tmp_path / "copy", tmp_path / "cache", monkeypatch)
    copy.statements.rate([FIRST], 5)
    copy.close()
    place.workspace.statements.rate([SECOND], 4)
    monkeypatch.setattr(
        "archive.custody.unite._give", lambda *_: (0, ["GREEN got nothing: it is read-only."])
    )
    report = place.workspace.custody.unite(tmp_path / "copy")
    assert (report.entries, report.given, report.exit_code) == (1, 0, Exit.ATTENTION)
    assert rated(place.workspace, FIRST) == 5


def test_other_bytes_of_one_roll_are_told_by_name_and_left(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = copy_of(place, tmp_path / "copy", tmp_path / "cache", monkeypatch)
    copy.close()
    told = volumes.held_files

    def other(disk: object, folder: str) -> dict[str, HashedFile]:
        held = told(disk, folder)  # type: ignore[arg-type]
        if getattr(disk, "root", None) == (tmp_path / "copy").resolve():
            held = {path: replace(file, xxh128="0" * 32) for path, file in held.items()}
        return held

    monkeypatch.setattr("archive.custody.unite.held_files", other)
    report = place.workspace.custody.unite(tmp_path / "copy")
    assert len(report.faults) == 1 and "has other bytes in the two archives" in report.faults[0]


def test_two_copies_that_wrote_as_one_writer_are_split_and_every_entry_counts(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cache = tmp_path / "cache"
    shutil.copytree(os.environ["XDG_CACHE_HOME"], cache)
    copy = copy_of(place, tmp_path / "copy", cache, monkeypatch)
    assert copy.books.log.writer == place.workspace.books.log.writer
    place.workspace.statements.rate([FIRST], 5)
    copy.statements.rate([SECOND], 4)
    before = place.workspace.books.log.writer
    place.workspace.custody.unite(tmp_path / "copy")
    assert place.workspace.books.log.writer != before
    assert "writes under a new id from now on" in capsys.readouterr().err
    view = place.workspace.custody.journal()
    assert view.faults == () and len(view.noticed) == 1
    assert "wrote as one writer" in view.noticed[0]
    assert [rated(place.workspace, name) for name in (FIRST, SECOND)] == [5, 4]
    copy.close()
