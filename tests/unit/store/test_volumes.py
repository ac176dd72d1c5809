"""Making, finding and opening volumes, and what their hash lists say."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from support.rolls import hashed, write_generation

from archive.errors import ArchiveError, DamagedFileError, UsageError
from archive.formats.starthere import start_here
from archive.formats.volume import VolumeMark
from archive.store.durable import LocalDisk
from archive.store.volumes import (
    chain_state,
    create_volume,
    find_volume,
    held_files,
    open_volume,
    roll_folders,
)

MARK = VolumeMark(
    archive="5f0c2a7d9b3e4f1896c7d0a1b2e3f405",
    volume="0a1b2c3d4e5f60718293a4b5c6d7e8f9",
    name="BLUE",
    created="2026-03-19T05:58:31Z",
)
FOLDER = "2026-03-18/north-7c1f9a2e"


def roll(root: Path) -> Path:
    return root / "masters" / FOLDER


def test_a_new_volume_explains_itself_and_can_be_opened(tmp_path: Path) -> None:
    made = create_volume(tmp_path / "deep" / "NightArchive", MARK)
    assert sorted(path.name for path in made.root.iterdir() if path.is_file()) == [
        "FORMATS.md",
        "START-HERE.html",
        "volume.json",
    ]
    formats = resources.files("archive.formats").joinpath("FORMATS.md").read_bytes()
    assert (made.root / "FORMATS.md").read_bytes() == formats
    assert (made.root / "START-HERE.html").read_bytes() == start_here(MARK)
    opened = open_volume(made.root)
    assert (opened.mark, opened.id, opened.name) == (MARK, MARK.volume, "BLUE")


def test_an_empty_folder_may_become_a_volume(tmp_path: Path) -> None:
    assert create_volume(tmp_path, MARK).mark == MARK


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(UsageError, match="already holds something"):
        create_volume(tmp_path, MARK)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "NightArchive").write_text("dear")
    with pytest.raises(UsageError):
        create_volume(tmp_path / "NightArchive", MARK)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ArchiveError, match="cannot be written"):
        create_volume(tmp_path / "file" / "NightArchive", MARK)


def test_a_folder_without_a_mark_is_no_archive(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="There is no archive in") as caught:
        open_volume(tmp_path)
    assert "noctuary new" in caught.value.hint
    with pytest.raises(ArchiveError, match="There is no archive in"):
        open_volume(tmp_path / "nowhere")


def test_a_mark_that_is_a_link_is_refused(tmp_path: Path) -> None:
    made = create_volume(tmp_path / "real", MARK)
    (tmp_path / "fake").mkdir()
    (tmp_path / "fake" / "volume.json").symlink_to(made.root / "volume.json")
    with pytest.raises(ArchiveError, match="cannot be read"):
        open_volume(tmp_path / "fake")


def test_a_volume_is_found_from_any_folder_in_it(tmp_path: Path) -> None:
    made = create_volume(tmp_path / "NightArchive", MARK)
    deep = made.root / "masters" / "2026-03-18"
    deep.mkdir(parents=True)
    assert find_volume(deep) == made.root.resolve()
    assert find_volume(made.root) == made.root.resolve()
    assert find_volume(tmp_path) is None


def test_roll_folders_are_listed_by_night_and_name(tmp_path: Path) -> None:
    for folder in ("2026-03-19/south-bb", "2026-03-18/north-aa", "2026-03-18/east-cc"):
        (tmp_path / "masters" / folder).mkdir(parents=True)
    (tmp_path / "masters" / "stray.txt").write_text("")
    assert list(roll_folders(LocalDisk(tmp_path))) == [
        "2026-03-18/east-cc",
        "2026-03-18/north-aa",
        "2026-03-19/south-bb",
    ]


def test_a_roll_without_hash_list_holds_nothing_that_is_known(tmp_path: Path) -> None:
    roll(tmp_path).mkdir(parents=True)
    disk = LocalDisk(tmp_path)
    assert chain_state(disk, FOLDER) is None
    assert held_files(disk, FOLDER) == {}


def test_all_generations_together_say_what_a_roll_holds(tmp_path: Path) -> None:
    write_generation(roll(tmp_path), {"a.DNG": b"a"})
    first = chain_state(LocalDisk(tmp_path), FOLDER)
    write_generation(roll(tmp_path), {"b.DNG": b"b"}, held={"a.DNG": b"a"})
    held = held_files(LocalDisk(tmp_path), FOLDER)
    assert {path: file.xxh128 for path, file in held.items()} == {
        path: hashed(path, data).xxh128 for path, data in (("a.DNG", b"a"), ("b.DNG", b"b"))
    }
    assert chain_state(LocalDisk(tmp_path), FOLDER) != first


def test_a_manifest_that_was_edited_is_told_by_name(tmp_path: Path) -> None:
    manifest = write_generation(roll(tmp_path), {"a.DNG": b"a"})
    manifest.write_bytes(manifest.read_bytes().replace(b"dome", b"home"))
    with pytest.raises(DamagedFileError, match=f"{manifest.name} was changed after it was written"):
        held_files(LocalDisk(tmp_path), FOLDER)


def test_a_manifest_that_is_missing_is_told_by_name(tmp_path: Path) -> None:
    manifest = write_generation(roll(tmp_path), {"a.DNG": b"a"})
    manifest.unlink()
    with pytest.raises(DamagedFileError, match=f"{manifest.name} is missing"):
        held_files(LocalDisk(tmp_path), FOLDER)


@pytest.mark.parametrize("which", ["chain", "manifest"])
def test_a_hash_list_that_cannot_be_read_is_a_fault_of_that_list_alone(tmp_path: Path, which: str) -> None:
    manifest = write_generation(roll(tmp_path), {"a.DNG": b"a"})
    target = manifest if which == "manifest" else manifest.parent / "ascmhl_chain.xml"
    moved = tmp_path / "moved"
    target.rename(moved)
    target.symlink_to(moved)
    with pytest.raises(DamagedFileError, match=f"{target.name} cannot be read"):
        held_files(LocalDisk(tmp_path), FOLDER)
