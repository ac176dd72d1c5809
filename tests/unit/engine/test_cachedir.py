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
    for writable in (0o777, 0o770, 0o702):
        folder.chmod(writable)
        assert cachedir.kernel_cache() is None
    folder.chmod(0o755)
    assert cachedir.kernel_cache() == folder


def test_only_the_two_folders_used_last_stay_beside_a_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    kernels = tmp_path / "cache" / "noctuary" / "kernels"
    for age in range(5):
        folder = kernels / f"{age:024x}"
        (folder / "inner").mkdir(parents=True, mode=0o700)
        (folder / "inner" / "kernel").write_text("compiled")
        folder.chmod(0o700)
        os.utime(folder, (1_700_000_000 - age, 1_700_000_000 - age))
    made = cachedir.kernel_cache()
    assert made is not None
    assert {each.name for each in kernels.iterdir()} == {made.name, f"{0:024x}", f"{1:024x}"}
    os.utime(kernels / f"{1:024x}", (1_600_000_000, 1_600_000_000))
    (kernels / f"{7:024x}").mkdir(mode=0o700)
    assert cachedir.kernel_cache() == made
    assert (kernels / f"{1:024x}").is_dir(), "nothing is removed while the release stays the same"


def test_what_is_not_a_kernel_folder_of_ours_is_never_removed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    kernels = tmp_path / "cache" / "noctuary" / "kernels"
    kernels.mkdir(parents=True)
    elsewhere = tmp_path / "photographs"
    elsewhere.mkdir()
    (elsewhere / "one.dng").write_text("a master")
    (kernels / f"{1:024x}").symlink_to(elsewhere)
    (kernels / "of another program").mkdir()
    (kernels / f"{2:024x}").write_text("a file")
    (kernels / f"{3:024X}F".replace("0", "A")).mkdir()
    kept = set(kernels.iterdir())
    for age in range(4, 9):
        (kernels / f"{age:024x}").mkdir(mode=0o700)
    made = cachedir.kernel_cache()
    assert made is not None
    assert len(set(kernels.iterdir()) - kept - {made}) == 2
    assert kept <= set(kernels.iterdir())
    assert (elsewhere / "one.dng").exists()


def test_folders_that_another_process_removes_meanwhile_are_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    kernels = tmp_path / "noctuary" / "kernels"
    for age in range(5):
        (kernels / f"{age:024x}").mkdir(parents=True, mode=0o700)
    usual = Path.lstat

    def gone(path: Path) -> os.stat_result:
        if path.name in (f"{0:024x}", f"{1:024x}"):
            path.rmdir()
        return usual(path)

    monkeypatch.setattr(Path, "lstat", gone)
    assert cachedir.kernel_cache() is not None


@pytest.mark.parametrize("compiler", ["numba", "numpy", "llvmlite"])
def test_another_version_of_anything_that_decides_what_is_compiled_is_another_digest(
    compiler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, usual = cachedir.sources_digest(tmp_path), cachedir.version
    monkeypatch.setattr(cachedir, "version", lambda name: "99.9" if name == compiler else usual(name))
    assert cachedir.sources_digest(tmp_path) != first
