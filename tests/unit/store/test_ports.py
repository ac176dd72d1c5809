"""The promises of a disk, asked of the real one and of the one that faults are tried on."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.disks import MemoryDisk

from archive.errors import ArchiveError
from archive.store.digest import digest_bytes
from archive.store.durable import LocalDisk, read_bytes
from archive.store.ports import Disk, Grade


@pytest.fixture(params=["local", "memory"])
def disk(request: pytest.FixtureRequest, tmp_path: Path) -> Disk:
    return LocalDisk(tmp_path / "volume") if request.param == "local" else MemoryDisk()


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> None:
    (tmp_path / "volume").mkdir()


def put(disk: Disk, path: str, data: bytes, *, modified_ns: int | None = None) -> None:
    writing = disk.begin(path)
    writing.write(data)
    writing.finish(modified_ns=modified_ns)


def test_a_finished_file_is_read_only_has_its_time_and_its_bytes(disk: Disk) -> None:
    put(disk, "incoming/a.part", b"abc", modified_ns=1_773_873_060_000_000_000)
    found = disk.stat("incoming/a.part")
    assert found is not None
    assert (found.size, found.writable, found.modified_ns) == (3, False, 1_773_873_060_000_000_000)
    assert read_bytes(disk, "incoming/a.part") == b"abc"


def test_a_sealed_file_is_read_only_and_has_its_time_before_it_is_finished(disk: Disk) -> None:
    writing = disk.begin("incoming/a.part")
    writing.write(b"abc")
    writing.seal(modified_ns=1_773_873_060_000_000_000)
    found = disk.stat("incoming/a.part")
    assert found is not None
    assert (found.size, found.writable, found.modified_ns) == (3, False, 1_773_873_060_000_000_000)
    writing.finish()
    assert disk.stat("incoming/a.part") == found
    assert read_bytes(disk, "incoming/a.part") == b"abc"


def test_a_sealed_file_can_be_abandoned(disk: Disk) -> None:
    writing = disk.begin("incoming/a.part")
    writing.seal()
    writing.abandon()
    assert disk.stat("incoming/a.part") is None


def test_a_disk_knows_what_its_file_system_cannot_keep(disk: Disk) -> None:
    found = disk.traits()
    assert found.largest_file is None
    assert disk.files("incoming") == []


def test_blocks_are_appended_in_order(disk: Disk) -> None:
    writing = disk.begin("incoming/a.part")
    writing.write(b"ab")
    writing.write(memoryview(b"cd"))
    writing.finish()
    assert read_bytes(disk, "incoming/a.part") == b"abcd"


def test_a_file_that_exists_is_not_begun_again(disk: Disk) -> None:
    put(disk, "incoming/a.part", b"abc")
    with pytest.raises(FileExistsError):
        disk.begin("incoming/a.part")
    assert read_bytes(disk, "incoming/a.part") == b"abc"


def test_an_abandoned_file_is_gone_and_may_be_abandoned_again(disk: Disk) -> None:
    writing = disk.begin("incoming/a.part")
    writing.write(b"ab")
    writing.abandon()
    writing.abandon()
    assert disk.stat("incoming/a.part") is None


def test_publishing_gives_the_final_name_and_takes_the_temporary_one(disk: Disk) -> None:
    put(disk, "incoming/a.part", b"abc")
    disk.publish("incoming/a.part", "masters/n/r/a.dng")
    disk.sync_folder("masters/n/r")
    assert disk.files("incoming") == []
    assert read_bytes(disk, "masters/n/r/a.dng") == b"abc"


def test_publishing_never_replaces_what_has_the_name(disk: Disk) -> None:
    put(disk, "incoming/a.part", b"first")
    disk.publish("incoming/a.part", "journal/x.json")
    put(disk, "incoming/b.part", b"second")
    with pytest.raises(FileExistsError):
        disk.publish("incoming/b.part", "journal/x.json")
    assert read_bytes(disk, "journal/x.json") == b"first"
    assert read_bytes(disk, "incoming/b.part") == b"second"


def test_publishing_what_is_not_there_is_an_error(disk: Disk) -> None:
    with pytest.raises(FileNotFoundError):
        disk.publish("incoming/none.part", "journal/x.json")


def test_replacing_leaves_the_new_bytes_under_the_name(disk: Disk) -> None:
    put(disk, "chain.xml", b"first")
    put(disk, "incoming/b.part", b"second")
    disk.replace("incoming/b.part", "chain.xml")
    assert read_bytes(disk, "chain.xml") == b"second"
    assert disk.files("incoming") == []


def test_reading_back_gives_the_digest_of_what_is_there(disk: Disk) -> None:
    put(disk, "a", b"abc" * 1000)
    digest, grade = disk.read_back("a")
    assert digest == digest_bytes(b"abc" * 1000)
    assert grade in set(Grade)


def test_what_is_not_there_has_no_state_and_cannot_be_read(disk: Disk) -> None:
    assert disk.stat("a/b/c") is None
    with pytest.raises(FileNotFoundError):
        disk.open("a/b/c")


def test_removing_twice_is_no_error(disk: Disk) -> None:
    put(disk, "a", b"abc")
    disk.remove("a")
    disk.remove("a")
    assert disk.stat("a") is None


def test_files_and_folders_are_listed_sorted_and_apart(disk: Disk) -> None:
    for path in ("x/b.txt", "x/a.txt", "x/deep/c.txt", "x/also/d.txt"):
        put(disk, path, b"1")
    assert disk.files("x") == ["a.txt", "b.txt"]
    assert disk.folders("x") == ["also", "deep"]
    assert disk.files("nowhere") == []
    assert disk.folders("nowhere") == []


def test_a_walk_meets_every_file_once_with_its_size(disk: Disk) -> None:
    for path in ("x/b", "x/deep/c", "x/deep/er/d", "y"):
        put(disk, path, path.encode())
    assert [(path, stat.size) for path, stat in disk.walk("")] == [
        (path, len(path)) for path in ("y", "x/b", "x/deep/c", "x/deep/er/d")
    ]
    assert [path for path, _ in disk.walk("x/deep")] == ["x/deep/c", "x/deep/er/d"]


def test_protecting_takes_the_right_to_write(disk: Disk) -> None:
    put(disk, "a", b"abc")
    disk.protect("a")
    found = disk.stat("a")
    assert found is not None
    assert not found.writable


@pytest.mark.parametrize("path", ["../out", "a/../../out", "/etc/passwd"])
def test_no_path_leaves_the_volume(disk: Disk, path: str) -> None:
    for attempt in (disk.begin, disk.open, disk.stat, disk.files, disk.remove, disk.sync_folder):
        with pytest.raises(ArchiveError, match="points outside its volume"):
            attempt(path)
    put(disk, "a", b"abc")
    with pytest.raises(ArchiveError, match="points outside its volume"):
        disk.publish("a", path)


def test_space_that_is_free_is_a_number_of_bytes(disk: Disk) -> None:
    assert disk.free() > 0


def test_a_lock_is_free_again_after_an_error(disk: Disk) -> None:
    with pytest.raises(ValueError, match="inside"), disk.lock("journal", "testing"):
        raise ValueError("inside")
    with disk.lock("journal", "testing"):
        pass
