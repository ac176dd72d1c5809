"""What file systems cannot keep."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.store import traits
from archive.store.durable import LocalDisk
from archive.store.mounttable import mount_kind
from archive.store.naming import Naming
from archive.store.traits import FAT_LARGEST, FAT_STEP_NS, traits_of


def renamed(source: Path, target: Path) -> Naming:
    source.rename(target)
    return Naming.RENAME


def coarse(monkeypatch: pytest.MonkeyPatch, step: int) -> None:
    utime = os.utime

    def rounded(path: Path, ns: tuple[int, int]) -> None:
        utime(path, ns=(ns[0] // step * step, ns[1] // step * step))

    monkeypatch.setattr(traits.os, "utime", rounded)


def test_this_file_system_keeps_everything_and_no_trial_is_left(tmp_path: Path) -> None:
    disk = LocalDisk(tmp_path)
    found = disk.traits()
    assert found.largest_file is None
    assert found.time_step_ns <= 100
    assert found.keeps_read_only
    assert found.naming in (Naming.RENAME, Naming.LINK)
    assert disk.files("incoming") == []
    assert disk.traits() is found


@pytest.mark.parametrize("step", [1, 100, 10**6, 10**7, 10**9, FAT_STEP_NS])
def test_the_step_of_times_is_found_by_trial(
    step: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    coarse(monkeypatch, step)
    found = traits_of(tmp_path, tmp_path / "trial.part", renamed)
    assert found.time_step_ns == step
    assert found.largest_file == (FAT_LARGEST if step == FAT_STEP_NS else None)


def test_a_file_system_that_is_mounted_as_fat_holds_no_file_of_four_gib(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "mounts"
    table.write_bytes(b"/dev/sda1 %s vfat rw 0 0\n" % os.fsencode(tmp_path))
    monkeypatch.setattr(traits, "mount_kind", lambda root: mount_kind(root, table))
    found = traits_of(tmp_path, tmp_path / "trial.part", renamed)
    assert (found.kind, found.largest_file, found.time_step_ns) == ("vfat", 4_294_967_295, 2_000_000_000)


def test_the_trial_is_removed_when_the_naming_fails(tmp_path: Path) -> None:
    def failing(_source: Path, _target: Path) -> Naming:
        raise OSError(5, "Input/output error")

    with pytest.raises(OSError, match="Input/output error"):
        traits_of(tmp_path, tmp_path / "trial.part", failing)
    assert list(tmp_path.iterdir()) == []
