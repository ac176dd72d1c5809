from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.errors import ArchiveError, UsageError
from archive.store.archives import locate, new_archive, new_volume
from archive.store.volumes import find_volume


def test_an_archive_is_found_from_inside_by_name_and_by_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_archive(tmp_path / "a")
    (tmp_path / "a/masters/deep").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "a/masters/deep")
    assert locate(None) == tmp_path / "a"
    assert locate(tmp_path / "a/masters") == tmp_path / "a"
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ArchiveError, match="There is no archive here"):
        locate(None)
    monkeypatch.setenv("NOCTUARY_ARCHIVE", str(tmp_path / "a"))
    assert locate(None) == tmp_path / "a"


def test_an_archive_is_made_only_where_nothing_is(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full/mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="already holds something"):
        new_archive(tmp_path / "full")
    new_archive(tmp_path / "a")
    with pytest.raises(UsageError, match="lies in the archive"):
        new_archive(tmp_path / "a/inside")
    assert (tmp_path / "a/FORMATS.md").read_text().startswith("# The formats")


def test_a_folder_name_of_bytes_that_are_no_text_names_its_volume_escaped(tmp_path: Path) -> None:
    volume = new_archive(tmp_path / os.fsdecode(b"ice\xff"))
    assert volume.name == "ice\\xff"
    assert find_volume(volume.root) == volume.root


def test_a_further_volume_is_of_the_same_archive_with_an_id_of_its_own(tmp_path: Path) -> None:
    first = new_archive(tmp_path / "a", "BLUE")
    second = new_volume(tmp_path / "b", first.mark.archive)
    assert (first.name, second.name) == ("BLUE", "b")
    assert first.mark.archive == second.mark.archive
    assert first.id != second.id
