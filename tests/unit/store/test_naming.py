"""Renaming that never replaces, on the system's way and on the way for systems that have none."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from archive.store import naming
from archive.store.naming import rename_exclusive


@pytest.fixture(params=["system", "link"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "link":
        monkeypatch.setattr(naming, "_system_rename", lambda source, target: False)
    return str(request.param)


def test_a_free_name_is_given_and_the_old_one_gone(way: str, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    rename_exclusive(tmp_path / "a", tmp_path / "b")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b"]
    assert (tmp_path / "b").stat().st_nlink == 1


def test_a_name_in_use_is_never_replaced(way: str, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").write_bytes(b"b")
    with pytest.raises(FileExistsError):
        rename_exclusive(tmp_path / "a", tmp_path / "b")
    assert (tmp_path / "a").read_bytes() == b"a"
    assert (tmp_path / "b").read_bytes() == b"b"


def test_a_dangling_link_counts_as_a_name_in_use(way: str, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a")
    (tmp_path / "b").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileExistsError):
        rename_exclusive(tmp_path / "a", tmp_path / "b")
    assert not (tmp_path / "nowhere").exists()


def test_a_source_that_is_not_there_is_told(way: str, tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        rename_exclusive(tmp_path / "a", tmp_path / "b")


def test_names_of_any_bytes_are_renamed(way: str, tmp_path: Path) -> None:
    source = tmp_path / os.fsdecode(b"a\xff\n")
    source.write_bytes(b"a")
    rename_exclusive(source, tmp_path / os.fsdecode(b"b\xfe"))
    assert os.listdir(os.fsencode(tmp_path)) == [b"b\xfe"]


@pytest.mark.parametrize("code", [errno.EINVAL, errno.ENOSYS])
def test_a_file_system_without_exclusive_rename_gets_link_and_unlink(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Library:
        @staticmethod
        def renameat2(*arguments: object) -> int:
            return -1

    monkeypatch.setattr(naming.sys, "platform", "linux")
    monkeypatch.setattr(naming.ctypes, "CDLL", lambda *a, **k: Library)
    monkeypatch.setattr(naming.ctypes, "get_errno", lambda: code)
    (tmp_path / "a").write_bytes(b"a")
    rename_exclusive(tmp_path / "a", tmp_path / "b")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b"]
