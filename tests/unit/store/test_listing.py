"""A folder's names, and the mark that says whether they may have changed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.store import listing as module
from archive.store.durable import LocalDisk
from archive.store.listing import SETTLED_NS, Listing, listing


def test_files_folders_and_others_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "b").write_bytes(b"")
    (tmp_path / "a").write_bytes(b"")
    (tmp_path / "inner").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "a")
    (tmp_path / "away").symlink_to(tmp_path / "inner")
    assert listing(str(tmp_path), "", fine=False) == Listing(
        files=("a", "b"), folders=("inner",), others=("away", "link")
    )


def test_where_no_folder_is_or_only_a_link_nothing_lies(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / "link").symlink_to(tmp_path)
    for name in ("none", "file", "link", "file/below"):
        assert listing(str(tmp_path / name), "", fine=True) == Listing()


def later(monkeypatch: pytest.MonkeyPatch, folder: Path, by_ns: int) -> None:
    """The clock stands so long after the folder's last change."""
    found = folder.stat()
    moment = max(found.st_mtime_ns, found.st_ctime_ns) + by_ns
    monkeypatch.setattr(module.time, "time_ns", lambda: moment)


def test_a_folder_that_was_left_alone_long_enough_is_not_listed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, tmp_path, SETTLED_NS)
    found = listing(str(tmp_path), "", fine=True)
    assert found is not None and found.mark
    assert listing(str(tmp_path), found.mark, fine=True) is None
    (tmp_path / "a").write_bytes(b"")
    later(monkeypatch, tmp_path, SETTLED_NS)
    again = listing(str(tmp_path), found.mark, fine=True)
    assert again is not None and again.files == ("a",) and again.mark != found.mark
    os.utime(tmp_path, ns=(0, int(found.mark.split(":")[2])))
    later(monkeypatch, tmp_path, SETTLED_NS)
    back = listing(str(tmp_path), found.mark, fine=True)
    assert back is not None and back.files == ("a",)


def test_a_folder_that_was_just_changed_and_one_on_a_share_have_no_mark(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, tmp_path, SETTLED_NS - 1)
    found = listing(str(tmp_path), "", fine=True)
    assert found is not None and found.mark == ""
    later(monkeypatch, tmp_path, SETTLED_NS)
    for held in ("", "anything"):
        found = listing(str(tmp_path), held, fine=False)
        assert found is not None and found.mark == ""


@pytest.mark.parametrize(("kind", "marked"), [("ext4", True), ("nfs4", False), ("cifs", False), ("", False)])
def test_only_file_systems_of_this_machine_are_trusted_with_times(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, marked: bool
) -> None:
    monkeypatch.setattr(LocalDisk, "_kind", kind)
    later(monkeypatch, tmp_path, SETTLED_NS)
    found = LocalDisk(tmp_path).listing("")
    assert found is not None and bool(found.mark) is marked
