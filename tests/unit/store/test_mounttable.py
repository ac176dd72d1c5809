"""The mount table, read."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.store.mounttable import Mount, mount_kind, mount_of


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "mounts"
    path.write_bytes(
        b"/dev/sda1 / ext4 rw 0 0\n/dev/sdb1 /media/MY\\040CARD exfat rw 0 0\n"
        b"/dev/sdc1 /media/MY\\040CARD vfat rw 0 0\nshort\n//nas/my\\040share /mnt cifs rw 0 0\n"
    )
    return path


def test_the_innermost_and_last_mount_counts_and_octal_is_read(table: Path) -> None:
    assert mount_of(Path("/media/MY CARD/NightArchive"), table) == Mount(
        point=Path("/media/MY CARD"), kind="vfat", source="/dev/sdc1"
    )
    assert mount_of(Path("/mnt/a"), table) == Mount(point=Path("/mnt"), kind="cifs", source="//nas/my share")
    assert mount_kind(Path("/media/MY CARDS"), table) == "ext4"
    assert mount_kind(Path("/"), table) == "ext4"


def test_a_system_without_a_table_tells_nothing(tmp_path: Path, table: Path) -> None:
    assert mount_of(Path("/"), tmp_path / "none") is None
    assert mount_kind(Path("/"), tmp_path / "none") == ""
    table.write_bytes(b"/dev/sdb1 /media/CARD exfat rw 0 0\n")
    assert mount_of(Path("/home"), table) is None
