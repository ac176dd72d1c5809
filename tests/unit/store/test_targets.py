"""Files that a person names: never over another, never among an archive's own, never in part."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.errors import ArchiveError, Exit, UsageError
from archive.store.archives import new_archive
from archive.store.targets import check_outside, check_target, new_target, write_target


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = tmp_path / "NightArchive"
    new_archive(root)
    (root / "masters" / "2026-03-18").mkdir(parents=True)
    (root / "mine").mkdir()
    (root / "masters" / "2026-03-18" / "X.JPG").write_bytes(b"a master")
    return root


@pytest.mark.parametrize(
    "place",
    [
        "masters/2026-03-18/X.JPG",
        "survey/not-yet/x.png",
        "masters/y.jpg",
        "mine/y.jpg",
        "journal",
        "Masters",
        "exports",
    ],
)
def test_nothing_is_written_among_an_archives_own_files(root: Path, tmp_path: Path, place: str) -> None:
    (tmp_path / "aside").symlink_to(root)
    held = sorted(root.rglob("*"))
    for target in (root / place, tmp_path / "aside" / place, root / "mine" / ".." / place):
        for replace in (None, False, True):
            if target.is_dir():
                with pytest.raises(UsageError, match="is a folder"):
                    write_target(target, b"a picture", replace=replace)
                continue
            with pytest.raises(ArchiveError, match="would lie in the archive") as caught:
                write_target(target, b"a picture", replace=replace)
            assert caught.value.exit_code == Exit.REFUSED
    assert sorted(root.rglob("*")) == held
    assert (root / "masters" / "2026-03-18" / "X.JPG").read_bytes() == b"a master"


def test_beside_an_archives_folders_a_person_may_write_but_not_over_its_documents(root: Path) -> None:
    write_target(root / "look.jpg", b"a picture")
    write_target(root / "look.jpg", b"another", replace=True)
    assert (root / "look.jpg").read_bytes() == b"another"
    for name in ("volume.json", "FORMATS.md", "START-HERE.html"):
        before = (root / name).read_bytes()
        with pytest.raises(ArchiveError, match="would lie in the archive"):
            write_target(root / name, b"a picture", replace=True)
        assert (root / name).read_bytes() == before


def test_a_folder_of_pages_may_not_lie_in_an_archive(root: Path, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="would lie in the archive"):
        check_outside(root / "gallery" / "index.html")
    check_outside(tmp_path / "gallery" / "index.html")


def test_what_is_there_stays_unless_its_replacing_is_asked_for(tmp_path: Path) -> None:
    for name in ("look.jpg", "link.jpg"):
        (tmp_path / "link.jpg").unlink(missing_ok=True)
        (tmp_path / "link.jpg").symlink_to("nowhere")
        (tmp_path / "look.jpg").write_bytes(b"mine")
        for replace, offered in ((None, False), (False, True)):
            with pytest.raises(UsageError, match="is there already") as caught:
                check_target(tmp_path / name, replace=replace)
            assert ("--replace" in caught.value.hint) == offered
            with pytest.raises(UsageError, match="is there already"):
                write_target(tmp_path / name, b"new", replace=replace)
    with pytest.raises(UsageError, match="is there already"):
        write_target(tmp_path / "link.jpg", b"new", replace=True)
    assert not (tmp_path / "nowhere").exists()
    write_target(tmp_path / "look.jpg", b"new", replace=True)
    assert (tmp_path / "look.jpg").read_bytes() == b"new"
    write_target(tmp_path / "other.jpg", b"new", replace=True)
    assert {each.name for each in tmp_path.iterdir()} == {"look.jpg", "link.jpg", "other.jpg"}


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ArchiveError, match="cannot be written: there is no folder"):
        write_target(tmp_path / "no" / "x.jpg", b"")
    with pytest.raises(UsageError, match="is a folder"):
        write_target(tmp_path, b"")
    (tmp_path / "circle").symlink_to("circle")
    with pytest.raises(ArchiveError, match="there is no folder"):
        write_target(tmp_path / "circle" / "x.jpg", b"")
    (tmp_path / "circle").unlink()

    def full(path: Path, data: bytes) -> int:
        with path.open("xb") as stream:
            stream.write(data[:2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(ArchiveError, match=r"x\.jpg cannot be written: No space left on device"):
        write_target(tmp_path / "x.jpg", b"a picture")
    assert list(tmp_path.iterdir()) == []


def test_a_file_has_its_name_only_when_it_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "x.mp4"
    with pytest.raises(KeyboardInterrupt), new_target(target) as path:
        path.write_bytes(b"half")
        assert not target.exists()
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []
    target.write_bytes(b"before")
    with pytest.raises(KeyboardInterrupt), new_target(target, replace=True) as path:
        path.write_bytes(b"half")
        raise KeyboardInterrupt
    assert target.read_bytes() == b"before"


def test_a_name_that_is_taken_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    target = tmp_path / "x.jpg"
    with pytest.raises(UsageError, match="is there already"), new_target(target) as path:
        path.write_bytes(b"new")
        target.write_bytes(b"of another program")
    assert target.read_bytes() == b"of another program"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.skipif(os.name == "nt", reason="modes of this kind exist on POSIX only")
def test_a_file_written_for_a_person_is_theirs_to_change(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_target(tmp_path / "x.jpg", b"new")
    finally:
        os.umask(before)
    assert (tmp_path / "x.jpg").stat().st_mode & 0o777 == 0o644
