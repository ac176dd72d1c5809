"""A new file from its first byte until it is durable."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from archive.store import durable, writing
from archive.store.durable import LocalDisk
from archive.store.writing import LocalWriting


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The descriptors that were synced, in order."""
    found: list[int] = []
    fsync: Callable[[int], None] = os.fsync

    def watched(descriptor: int) -> None:
        found.append(descriptor)
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", watched)
    return found


def sealed(disk: LocalDisk, count: int) -> list[LocalWriting]:
    made = []
    for number in range(count):
        one = disk.begin(f"incoming/{number}.part")
        one.write(b"%d" % number)
        one.seal(modified_ns=1_773_873_060_000_000_000)
        made.append(one)
    return made


def test_a_block_that_the_system_takes_in_parts_is_written_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, view: write(descriptor, view[:7]))
    one = LocalWriting(tmp_path / "a")
    one.write(bytes(range(100)))
    one.finish()
    assert (tmp_path / "a").read_bytes() == bytes(range(100))


def test_a_long_file_begins_its_way_to_the_medium_while_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    monkeypatch.setattr(writing, "start_writing_out", asked.append)
    one = LocalWriting(tmp_path / "a")
    for _ in range(20):
        one.write(bytes(1 << 20))
    assert len(asked) == 2
    one.finish()
    assert len(asked) == 3


def test_finishing_syncs_once_and_closes(tmp_path: Path, synced: list[int]) -> None:
    one = LocalWriting(tmp_path / "a")
    one.write(b"abc")
    one.finish()
    assert len(synced) == 1
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(synced[0])


@pytest.mark.parametrize("kind", ["vfat", "fuseblk", "nfs4", ""])
def test_many_files_are_synced_one_by_one_where_a_whole_sync_is_not_trusted(
    kind: str, tmp_path: Path, synced: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = LocalDisk(tmp_path)
    files = sealed(disk, 10)
    synced.clear()
    monkeypatch.setattr(durable, "mount_kind", lambda _root: kind)
    disk.finish_all(files)
    assert len(synced) == 10


def test_many_files_are_synced_at_once_where_that_is_trusted(
    tmp_path: Path, synced: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    whole: list[str] = []
    disk = LocalDisk(tmp_path)
    files = sealed(disk, 10)
    synced.clear()
    monkeypatch.setattr(durable, "mount_kind", lambda _root: "ext4")
    monkeypatch.setattr(writing, "sync_whole", lambda _descriptor, kind: bool(whole.append(kind) or True))
    disk.finish_all(files)
    assert (whole, synced) == (["ext4"], [])
    for one in files:
        one.abandon()
    assert disk.files("incoming") == []


def test_few_files_are_synced_one_by_one(
    tmp_path: Path, synced: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = LocalDisk(tmp_path)
    files = sealed(disk, 3)
    synced.clear()
    monkeypatch.setattr(durable, "mount_kind", lambda _root: "ext4")
    disk.finish_all(files)
    assert len(synced) == 3


def test_a_whole_sync_that_fails_is_an_error_and_the_files_can_still_be_abandoned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(_descriptor: int, _kind: str) -> bool:
        raise OSError(5, "Input/output error")

    disk = LocalDisk(tmp_path)
    files = sealed(disk, 10)
    monkeypatch.setattr(writing, "sync_whole", failing)
    with pytest.raises(OSError, match="Input/output error"):
        disk.finish_all(files)
    for one in files:
        one.abandon()
    assert disk.files("incoming") == []
