"""A volume's surveys: written whole, proven when read, brought to other volumes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support.surveys import PREVIEW, SLICES, document, measures

from archive.errors import DamagedFileError
from archive.formats import survey
from archive.model.survey import METHOD
from archive.store.durable import LocalDisk
from archive.store.surveys import (
    copy_survey,
    document_names,
    named_files,
    read_document,
    read_kept,
    survey_folder,
    surveyed_files,
    write_survey,
)

FOLDER = survey_folder("2026-03-18/north-7c1f9a2e")


@pytest.fixture
def disk(tmp_path: Path) -> LocalDisk:
    (tmp_path / "blue").mkdir()
    return LocalDisk(tmp_path / "blue")


def files() -> dict[str, bytes]:
    made = document()
    return {made.slices.path: SLICES, made.frames[0].preview.path: PREVIEW}


def written(disk: LocalDisk) -> None:
    write_survey(disk, FOLDER, files(), document())


def test_a_survey_is_read_as_it_was_written(disk: LocalDisk) -> None:
    assert FOLDER == "survey/north-7c1f9a2e"
    written(disk)
    (name,) = document_names(disk, FOLDER)
    assert read_document(disk, FOLDER, name) == document()
    assert [read_kept(disk, FOLDER, each) for each in named_files(document())] == [SLICES, PREVIEW]
    assert [path for path, _ in surveyed_files(disk)] == [
        f"{FOLDER}/{k.path}" for k in named_files(document())
    ]


def test_writing_it_again_changes_nothing_and_a_damaged_preview_is_made_good(disk: LocalDisk) -> None:
    written(disk)
    path = disk.root / FOLDER / document().frames[0].preview.path
    before = path.stat().st_mtime_ns
    written(disk)
    assert path.stat().st_mtime_ns == before
    path.chmod(0o600)
    path.write_bytes(b"b preview")
    with pytest.raises(DamagedFileError, match="is damaged"):
        read_kept(disk, FOLDER, document().frames[0].preview)
    written(disk)
    assert read_kept(disk, FOLDER, document().frames[0].preview) == PREVIEW
    assert not list((disk.root / "incoming").glob("*.part"))


def test_a_document_that_was_changed_is_refused_and_told(disk: LocalDisk) -> None:
    written(disk)
    (name,) = document_names(disk, FOLDER)
    path = disk.root / FOLDER / name
    path.chmod(0o600)
    path.write_bytes(path.read_bytes().replace(b"NOCT0001", b"NOCT0002"))
    with pytest.raises(DamagedFileError, match="changed after it was written"):
        read_document(disk, FOLDER, name)
    ((told, fault),) = surveyed_files(disk)
    assert told.endswith(name)
    assert isinstance(fault, DamagedFileError)
    # Its name is a digest that does not fit: the sound one takes its place, or it would stay in the way.
    written(disk)
    assert read_document(disk, FOLDER, name) == document(1)


def test_records_come_to_a_volume_that_lacks_them_with_all_they_name(disk: LocalDisk, tmp_path: Path) -> None:
    (tmp_path / "red").mkdir()
    red = LocalDisk(tmp_path / "red")
    written(disk)
    second = replace(document(2), frames=document(2, seen=measures(green=0.5)).frames)
    write_survey(disk, FOLDER, files(), second)
    assert copy_survey(disk, red, FOLDER) == 2
    assert copy_survey(disk, red, FOLDER) == 0
    assert copy_survey(red, disk, FOLDER) == 0
    assert {path.name for path in red.root.rglob("*.*")} == {path.name for path in disk.root.rglob("*.*")}
    assert survey.method_of(document_names(red, FOLDER)[0]) == METHOD


def test_a_damaged_source_is_not_copied(disk: LocalDisk, tmp_path: Path) -> None:
    (tmp_path / "red").mkdir()
    red = LocalDisk(tmp_path / "red")
    written(disk)
    path = disk.root / FOLDER / document().slices.path
    path.chmod(0o600)
    path.write_bytes(b"other bytes")
    with pytest.raises(DamagedFileError):
        copy_survey(disk, red, FOLDER)
    assert document_names(red, FOLDER) == []
