"""What belongs to this machine: cache folder, writer ids, mounts."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.errors import ArchiveError
from archive.store.userplace import (
    Writer,
    cache_folder,
    database_url,
    remember_mount,
    remember_surveyed,
    remembered_mounts,
    remembered_surveyed,
    writer_of,
)

ARCHIVE = "5f0c2a7d9b3e4f1896c7d0a1b2e3f405"


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_everything_of_an_archive_lies_in_its_own_folder_of_the_cache(cache: Path) -> None:
    assert cache_folder(ARCHIVE) == cache / "noctuary" / ARCHIVE
    assert cache_folder(ARCHIVE).is_dir()
    assert database_url(ARCHIVE) == f"sqlite:///{cache / 'noctuary' / ARCHIVE / 'catalogue.sqlite'}"


def test_a_cache_that_cannot_be_made_is_told_with_the_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    with pytest.raises(ArchiveError, match="cannot be made") as caught:
        cache_folder(ARCHIVE)
    assert "XDG_CACHE_HOME" in caught.value.hint


def test_a_working_copy_keeps_its_writer_and_each_volume_has_its_own() -> None:
    writer = writer_of(ARCHIVE, "volume-1")
    assert writer_of(ARCHIVE, "volume-1").id == writer.id
    assert writer_of(ARCHIVE, "volume-2").id != writer.id
    assert len(writer.id) == 32
    assert (writer.last, writer.complete) == (None, True)


def test_a_writer_remembers_its_last_entry_for_every_program_of_this_machine() -> None:
    one, two = writer_of(ARCHIVE, "volume-1"), writer_of(ARCHIVE, "volume-1")
    one.wrote("name-1", "sha256:1")
    two.refresh()
    assert two.last == ("name-1", "sha256:1") == writer_of(ARCHIVE, "volume-1").last
    before = two.id
    two.renew()
    one.refresh()
    assert one.id == two.id != before
    assert one.last is None and one.complete


def test_a_writer_in_memory_has_a_past_that_is_not_known() -> None:
    writer = Writer("w1")
    writer.refresh()
    assert (writer.id, writer.last, writer.complete) == ("w1", None, False)
    writer.wrote("name", "sha256:1")
    assert writer.complete


@pytest.mark.parametrize("text", ["", "[]", '{"writer": 1, "last": null}', '{"writer": "", "last": null}'])
def test_a_record_of_a_writer_that_cannot_be_read_gives_a_new_one(text: str) -> None:
    before = writer_of(ARCHIVE, "volume-1")
    (cache_folder(ARCHIVE) / "writer-volume-1.json").write_text(text)
    after = writer_of(ARCHIVE, "volume-1")
    assert after.id not in (before.id, "")
    assert writer_of(ARCHIVE, "volume-1").id == after.id


def test_a_lost_cache_gives_a_new_writer(cache: Path) -> None:
    writer = writer_of(ARCHIVE, "volume-1")
    (cache / "noctuary" / ARCHIVE / "writer-volume-1.json").unlink()
    assert writer_of(ARCHIVE, "volume-1").id != writer.id


def test_mounts_are_remembered_and_the_last_one_counts(tmp_path: Path) -> None:
    assert remembered_mounts(ARCHIVE) == {}
    remember_mount(ARCHIVE, "v1", tmp_path / "a")
    remember_mount(ARCHIVE, "v2", tmp_path / "b")
    remember_mount(ARCHIVE, "v1", tmp_path / "c")
    assert remembered_mounts(ARCHIVE) == {"v1": tmp_path / "c", "v2": tmp_path / "b"}


@pytest.mark.parametrize("text", ["", "{", "[]", "\xff"])
def test_a_damaged_list_of_mounts_is_begun_anew(text: str, tmp_path: Path) -> None:
    (cache_folder(ARCHIVE) / "mounts.json").write_text(text, encoding="latin-1")
    assert remembered_mounts(ARCHIVE) == {}
    remember_mount(ARCHIVE, "v1", tmp_path)
    assert remembered_mounts(ARCHIVE) == {"v1": tmp_path}


def test_complete_surveys_are_remembered_by_volume(cache: Path) -> None:
    assert remembered_surveyed(ARCHIVE, "v1") == {}
    remember_surveyed(ARCHIVE, "v1", {"2026-03-18/north-7c1f9a2e": "a state"})
    assert remembered_surveyed(ARCHIVE, "v1") == {"2026-03-18/north-7c1f9a2e": "a state"}
    assert remembered_surveyed(ARCHIVE, "v2") == {}
    # Nothing half written is left beside it.
    assert [path.name for path in cache_folder(ARCHIVE).iterdir()] == ["surveyed-v1.json"]
