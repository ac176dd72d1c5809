"""Files marked as not to be written."""

from __future__ import annotations

import errno
import stat
from pathlib import Path

import pytest

from archive.store.durable import LocalDisk
from archive.store.protecting import protect
from archive.store.writing import LocalWriting


@pytest.fixture
def fat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulated: Linux passes over a change of mode on FAT and exFAT that drops the right to execute."""
    chmod = Path.chmod

    def as_fat(self: Path, mode: int, **options: bool) -> None:
        held = stat.S_IMODE(self.lstat().st_mode)
        if mode & 0o555 == held & 0o555:
            chmod(self, mode, **options)

    monkeypatch.setattr(Path, "chmod", as_fat)


@pytest.mark.parametrize(
    ("before", "after"), [(0o755, 0o555), (0o644, 0o444), (0o600, 0o400), (0o444, 0o444)]
)
def test_only_the_bits_that_allow_writing_are_taken(tmp_path: Path, before: int, after: int) -> None:
    path = tmp_path / "a"
    path.touch()
    path.chmod(before)
    assert protect(path)
    assert stat.S_IMODE(path.stat().st_mode) == after


def test_masters_on_fat_become_read_only(tmp_path: Path, fat: None) -> None:
    """They stayed writable there: the mode asked for took the right to execute, which FAT has for all."""
    disk = LocalDisk(tmp_path)
    (tmp_path / "lent").touch()
    for path in ("lent", "kept"):
        (tmp_path / path).touch()
        (tmp_path / path).chmod(0o755)
    disk.settle("lent")
    disk.protect("kept")
    for path in ("lent", "kept"):
        found = disk.stat(path)
        assert found is not None and not found.writable


@pytest.mark.parametrize("code", [errno.EPERM, errno.ENOSYS, errno.ENOTSUP])
def test_a_file_system_without_such_a_mark_is_told_and_stops_nothing(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_arguments: object, **_options: object) -> None:
        raise OSError(code, "refused")

    monkeypatch.setattr(Path, "chmod", refuse)
    one = LocalWriting(tmp_path / "a")
    one.write(b"abc")
    one.finish()
    assert not protect(tmp_path / "a")
    assert not LocalDisk(tmp_path).traits().keeps_read_only


def test_a_mark_that_is_passed_over_in_silence_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").touch()
    monkeypatch.setattr(Path, "chmod", lambda *_arguments, **_options: None)
    assert not protect(tmp_path / "a")
    assert not LocalDisk(tmp_path).traits().keeps_read_only


def test_a_file_system_that_fails_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_arguments: object, **_options: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    (tmp_path / "a").touch()
    monkeypatch.setattr(Path, "chmod", broken)
    with pytest.raises(OSError, match="Input/output error"):
        protect(tmp_path / "a")
    with pytest.raises(FileNotFoundError):
        protect(tmp_path / "none")
