"""Where compiled kernels may be kept."""

import os
from pathlib import Path

import pytest

from archive.engine import cachedir


def test_the_digest_changes_with_any_source_below(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "a.py").write_text("x = 1\n")
    (tmp_path / "inner" / "b.py").write_text("y = 1\n")
    first = cachedir.sources_digest(tmp_path)
    (tmp_path / "note.txt").write_text("no source")
    assert cachedir.sources_digest(tmp_path) == first
    (tmp_path / "inner" / "b.py").write_text("y = 2\n")
    assert cachedir.sources_digest(tmp_path) != first


def test_it_lies_below_the_users_cache_and_is_private(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folder = cachedir.kernel_cache()
    assert folder is not None
    assert folder.parent == tmp_path / "noctuary" / "kernels"
    if hasattr(os, "getuid"):
        assert folder.stat().st_mode & 0o077 == 0


def test_a_relative_cache_setting_is_ignored(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", "somewhere")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cachedir.user_cache() == tmp_path / ".cache"


def test_no_cache_is_used_where_none_can_be_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert cachedir.kernel_cache() is None


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="access rights of this kind exist on POSIX only")
def test_a_folder_that_others_can_write_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folder = cachedir.kernel_cache()
    assert folder is not None
    folder.chmod(0o777)
    assert cachedir.kernel_cache() is None
