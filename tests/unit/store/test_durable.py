"""The disk of this machine: links, pipes, what is synced, locks between processes, small documents."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest

from archive.errors import ArchiveError
from archive.store import durable
from archive.store.digest import digest_bytes
from archive.store.durable import LocalDisk, digest_file, read_bytes, temporary_name, tidy, write_new


@pytest.fixture
def root(tmp_path: Path) -> Path:
    folder = tmp_path / "volume"
    folder.mkdir()
    return folder


@pytest.fixture
def outside(tmp_path: Path) -> Path:
    """A folder beside the volume that a link in it points to; it must stay as it is."""
    folder = tmp_path / "outside"
    folder.mkdir()
    (folder / "secret").write_bytes(b"secret")
    return folder


def test_a_link_on_the_way_is_refused_whatever_is_asked(root: Path, outside: Path) -> None:
    (root / "masters").symlink_to(outside)
    disk = LocalDisk(root)
    attempts: list[Callable[[str], object]] = [
        disk.begin,
        disk.open,
        disk.stat,
        disk.remove,
        disk.read_back,
        disk.protect,
        disk.lend,
        disk.settle,
    ]
    for attempt in attempts:
        with pytest.raises(ArchiveError, match="is a link"):
            attempt("masters/secret")
    assert (outside / "secret").read_bytes() == b"secret"


def test_a_link_in_place_of_a_file_is_refused_and_its_target_untouched(root: Path, outside: Path) -> None:
    (outside / "secret").chmod(0o640)
    (root / "a").symlink_to(outside / "secret")
    disk = LocalDisk(root)
    for attempt in (disk.open, disk.read_back, disk.protect, disk.settle):
        with pytest.raises(OSError, match=r"link|symbolic"):
            attempt("a")
    assert disk.stat("a") is None
    assert disk.files("") == []
    assert (outside / "secret").stat().st_mode & 0o777 == 0o640


def test_a_link_in_place_of_a_folder_holds_nothing(root: Path, outside: Path) -> None:
    (root / "journal").symlink_to(outside)
    disk = LocalDisk(root)
    assert disk.files("journal") == []
    assert disk.folders("") == []
    assert list(disk.walk("")) == []
    assert list(disk.walk("journal")) == []


def test_the_volume_itself_may_be_reached_through_a_link(root: Path, tmp_path: Path) -> None:
    (root / "a").write_bytes(b"abc")
    (tmp_path / "link").symlink_to(root)
    assert LocalDisk(tmp_path / "link").files("") == ["a"]


def test_removing_a_link_removes_the_link_alone(root: Path, outside: Path) -> None:
    (root / "a").symlink_to(outside / "secret")
    LocalDisk(root).remove("a")
    assert not (root / "a").is_symlink()
    assert (outside / "secret").read_bytes() == b"secret"


def test_a_lock_file_that_is_a_link_is_refused_and_its_target_not_emptied(root: Path, outside: Path) -> None:
    (root / "incoming").mkdir()
    (root / "incoming" / "journal.lock").symlink_to(outside / "secret")
    with pytest.raises(ArchiveError, match="cannot be written"), LocalDisk(root).lock("journal", "testing"):
        pass
    assert (outside / "secret").read_bytes() == b"secret"


def test_a_pipe_is_refused_and_not_waited_for(root: Path) -> None:
    os.mkfifo(root / "pipe")
    disk = LocalDisk(root)
    with pytest.raises(OSError, match="not a plain file"):
        disk.open("pipe")
    assert disk.stat("pipe") is None
    assert disk.files("") == []


def test_a_name_with_a_zero_byte_is_refused(root: Path) -> None:
    with pytest.raises(ArchiveError, match="points outside"):
        LocalDisk(root).open("a\0b")


@pytest.mark.parametrize("path", ["masters\\..\\..\\a", "C:a", "masters/a.jpg:stream", "C:/a"])
def test_names_that_windows_reads_as_other_places_are_refused_there(
    path: str, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Simulated; elsewhere these are ordinary names."""
    assert LocalDisk(root).path(path).is_relative_to(root)
    monkeypatch.setattr(durable, "_UNSAFE", durable.unsafe_in_paths("nt"))
    with pytest.raises(ArchiveError, match="points outside"):
        LocalDisk(root).path(path)


class Syncs:
    """Which files and folders were synced, in order, by device and inode."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seen: list[tuple[int, int]] = []
        real = os.fsync

        def fsync(descriptor: int) -> None:
            found = os.fstat(descriptor)
            self.seen.append((found.st_dev, found.st_ino))
            real(descriptor)

        monkeypatch.setattr(os, "fsync", fsync)

    def of(self, path: Path) -> int:
        found = path.stat()
        return self.seen.count((found.st_dev, found.st_ino))


def test_a_new_document_syncs_its_bytes_and_every_folder_up_to_the_volume(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    syncs = Syncs(monkeypatch)
    write_new(LocalDisk(root), "journal/2026-03", "x.json", b"{}")
    assert syncs.of(root / "journal/2026-03/x.json") == 1
    for folder in (root, root / "journal", root / "journal/2026-03"):
        assert syncs.of(folder) >= 1


def test_a_folder_that_a_stopped_run_made_is_synced_by_the_next_run(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (root / "journal" / "2026-03").mkdir(parents=True)
    syncs = Syncs(monkeypatch)
    write_new(LocalDisk(root), "journal/2026-03", "x.json", b"{}")
    assert syncs.of(root / "journal") >= 1
    assert syncs.of(root) >= 1


def test_a_lent_file_is_synced_and_read_only_when_it_is_settled(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = LocalDisk(root)
    path = disk.lend("incoming/movie.part")
    path.write_bytes(b"frames")
    syncs = Syncs(monkeypatch)
    disk.settle("incoming/movie.part")
    assert syncs.of(path) == 1
    assert path.stat().st_mode & 0o222 == 0


def test_a_published_document_is_read_only_on_disk(root: Path) -> None:
    write_new(LocalDisk(root), "", "a.json", b"{}")
    assert (root / "a.json").stat().st_mode & 0o222 == 0


def test_reading_back_sees_other_bytes_when_one_bit_has_flipped(root: Path) -> None:
    disk = LocalDisk(root)
    data = bytes(range(256)) * 40_000
    write_new(disk, "", "a.dng", data)
    assert disk.read_back("a.dng")[0] == digest_bytes(data)
    (root / "a.dng").chmod(0o644)
    with (root / "a.dng").open("r+b") as stream:
        stream.seek(9_000_001)
        byte = stream.read(1)[0]
        stream.seek(9_000_001)
        stream.write(bytes([byte ^ 0x10]))
        os.fsync(stream.fileno())
    flipped = bytearray(data)
    flipped[9_000_001] ^= 0x10
    assert disk.read_back("a.dng")[0] == digest_bytes(bytes(flipped)) != digest_bytes(data)
    assert digest_file(disk, "a.dng") == (digest_bytes(bytes(flipped)), len(data))


def test_writing_the_same_document_again_keeps_the_first(root: Path) -> None:
    disk = LocalDisk(root)
    write_new(disk, "journal", "a.json", b"{}")
    before = (root / "journal/a.json").stat()
    write_new(disk, "journal", "a.json", b"{}")
    assert (root / "journal/a.json").stat().st_ino == before.st_ino
    assert disk.files("incoming") == []


def test_other_bytes_under_a_name_in_use_are_refused_and_leave_nothing_behind(root: Path) -> None:
    disk = LocalDisk(root)
    write_new(disk, "journal", "a.json", b"{}")
    with pytest.raises(FileExistsError):
        write_new(disk, "journal", "a.json", b"[]")
    assert read_bytes(disk, "journal/a.json") == b"{}"
    assert disk.files("incoming") == []


def test_tidying_removes_only_what_was_left_under_that_lock(root: Path) -> None:
    disk = LocalDisk(root)
    (root / "incoming").mkdir()
    names = ["journal-0011aabb.part", "ingest-0011aabb.part", "journal.lock", "journal-x.json"]
    for name in names:
        (root / "incoming" / name).write_bytes(b"")
    tidy(disk, "journal")
    assert disk.files("incoming") == sorted(names[1:])


def test_temporary_names_do_not_repeat_and_tell_whose_they_are() -> None:
    names = {temporary_name("journal") for _ in range(50)}
    assert len(names) == 50
    assert all(name.startswith("incoming/journal-") and name.endswith(".part") for name in names)


@pytest.mark.parametrize("size", [0, 1, 65_535, 65_536, 65_537, 5_000_000])
def test_a_file_is_read_whole_up_to_its_limit_and_refused_beyond(root: Path, size: int) -> None:
    data = os.urandom(size)
    (root / "a").write_bytes(data)
    assert read_bytes(LocalDisk(root), "a", limit=max(size, 1)) == data
    if size > 1:
        with pytest.raises(ArchiveError, match=f"larger than {size - 1} bytes"):
            read_bytes(LocalDisk(root), "a", limit=size - 1)


def test_a_small_file_is_not_read_by_reserving_the_limit(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (root / "a").write_bytes(b"abc")
    asked: list[int] = []

    class Stream:
        def __init__(self) -> None:
            self.left = [b"abc", b""]

        def read(self, size: int) -> bytes:
            asked.append(size)
            return self.left.pop(0)

    monkeypatch.setattr(LocalDisk, "open", lambda self, path: contextlib.nullcontext(Stream()))
    assert read_bytes(LocalDisk(root), "a") == b"abc"
    assert max(asked) <= durable.BLOCK


HOLD = """
    import sys
    from pathlib import Path
    from archive.store.durable import LocalDisk
    with LocalDisk(Path(sys.argv[1])).lock("journal", "Holding it"):
        print("held", flush=True)
        sys.stdin.readline()
"""


def hold(root: Path) -> subprocess.Popen[str]:
    holder = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(HOLD), str(root)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == "held\n"
    return holder


def test_two_processes_never_hold_a_lock_at_once_and_the_second_is_told_who_does(root: Path) -> None:
    holder = hold(root)
    told: list[str] = []

    def let_go(text: str) -> None:
        # Being told means that this process was kept waiting; only now does the other let go.
        told.append(text)
        assert holder.poll() is None
        holder.communicate("\n")

    with LocalDisk(root, say=let_go).lock("journal", "Second"):
        assert holder.poll() == 0
    assert len(told) == 1
    assert f"Holding it is running (process {holder.pid} on " in told[0]


def test_the_lock_of_a_killed_process_is_free(root: Path) -> None:
    holder = hold(root)
    holder.kill()
    holder.communicate()
    told: list[str] = []
    with LocalDisk(root, say=told.append).lock("journal", "Next"):
        assert b"Next" in (root / "incoming/journal.lock").read_bytes()
    assert told == []
    assert (root / "incoming/journal.lock").read_bytes() == b""


def test_different_locks_do_not_wait_for_each_other(root: Path) -> None:
    told: list[str] = []
    disk = LocalDisk(root, say=told.append)
    with disk.lock("journal", "One"), disk.lock("ingest", "Two"):
        assert told == []


def test_a_file_system_without_locks_is_refused(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_lock(handle: object, flags: int) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("fcntl.flock", no_lock)
    with (
        pytest.raises(ArchiveError, match="No lock works on this volume"),
        LocalDisk(root).lock("journal", "testing"),
    ):
        pass
