"""Reading back around the cache, and what is said when that does not work."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.store import readback
from archive.store.digest import BLOCK, digest_bytes
from archive.store.ports import Grade
from archive.store.readback import hides, read_back


@pytest.fixture(params=[0, 1, 511, 4096, 4097, BLOCK, BLOCK + 13])
def held(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, bytes]:
    data = os.urandom(request.param)
    path = tmp_path / "a.dng"
    path.write_bytes(data)
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())
    return path, data


def small(tmp_path: Path) -> Path:
    (tmp_path / "a").write_bytes(b"abc")
    return tmp_path / "a"


def answers(monkeypatch: pytest.MonkeyPatch, before: bool | None, after: bool | None = None) -> None:
    """What the system says of the file being in memory: before the reading, and after it."""
    # Of what it holds before, it is asked to let go twice.
    left = [*([before] * (2 if before else 1)), after]
    monkeypatch.setattr(readback, "resident", lambda _descriptor, **_options: left.pop(0))


def direct(monkeypatch: pytest.MonkeyPatch, works: bool = True) -> None:
    monkeypatch.setattr(readback, "_direct", lambda _path: digest_bytes(b"abc") if works else None)


def test_every_way_of_reading_gives_the_digest_of_the_bytes(
    held: tuple[Path, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    path, data = held
    assert read_back(path)[0] == digest_bytes(data)
    monkeypatch.setattr(readback, "_direct", lambda path: None)
    assert read_back(path)[0] == digest_bytes(data)
    answers(monkeypatch, True)
    assert read_back(path) == (digest_bytes(data), Grade.CACHED)


@pytest.mark.parametrize(
    ("around", "before", "after", "grade"),
    [
        (True, False, False, Grade.DIRECT),
        # Another program held it; the reading went around what was held, and it was let go of.
        (True, True, False, Grade.DIRECT),
        (True, None, None, Grade.DIRECT),
        # The file system took the flag and answered by way of memory, which was empty of it before.
        (True, False, True, Grade.EVICTED),
        (True, True, True, Grade.CACHED),
        (True, None, True, Grade.CACHED),
        (False, False, None, Grade.EVICTED),
        (False, True, None, Grade.CACHED),
        (False, None, None, Grade.CACHED),
    ],
)
def test_a_reading_is_only_called_direct_when_nothing_of_the_file_is_in_memory_after_it(
    around: bool,
    before: bool | None,
    after: bool | None,
    grade: Grade,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    direct(monkeypatch, around)
    answers(monkeypatch, before, after)
    assert read_back(small(tmp_path), kind="ext4") == (digest_bytes(b"abc"), grade)


@pytest.mark.parametrize("kind", ["tmpfs", "ramfs", "zfs", "fuseblk", "fuse.sshfs"])
@pytest.mark.parametrize("around", [True, False])
def test_a_file_system_with_a_memory_of_its_own_never_proves_anything(
    kind: str, around: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    direct(monkeypatch, around)
    answers(monkeypatch, False, False)
    assert read_back(small(tmp_path), kind=kind)[1] is Grade.CACHED
    assert not any(map(hides, ("ext4", "xfs", "btrfs", "vfat", "exfat", "ntfs3", "")))


@pytest.mark.parametrize(("told", "grade"), [(False, Grade.DIRECT), (None, Grade.CACHED)])
def test_a_layer_over_a_file_system_that_is_not_known_counts_only_when_it_was_looked_into(
    told: bool | None, grade: Grade, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    direct(monkeypatch)
    answers(monkeypatch, told, told)
    assert read_back(small(tmp_path), kind="overlay")[1] is grade


def test_the_type_of_the_file_system_is_looked_up_where_it_is_not_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    direct(monkeypatch)
    answers(monkeypatch, False, False)
    monkeypatch.setattr(readback, "mount_kind", lambda _path: "tmpfs")
    assert read_back(small(tmp_path))[1] is Grade.CACHED


def test_a_memory_file_system_of_this_machine_is_graded_cached() -> None:
    shared = Path("/dev/shm")
    if not shared.is_dir() or readback.mount_kind(shared) != "tmpfs":
        pytest.skip("this system has no file system in memory at hand")
    path = shared / f"noctuary-{os.getpid()}"
    try:
        path.write_bytes(b"abc")
        assert read_back(path) == (digest_bytes(b"abc"), Grade.CACHED)
    finally:
        path.unlink()


def test_a_file_of_a_card_is_never_mapped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []

    def resident(_descriptor: int, *, mapping: bool, layered: bool) -> bool:
        asked.append((mapping, layered))
        return False

    monkeypatch.setattr(readback, "resident", resident)
    path = small(tmp_path)
    read_back(path, kind="exfat", ours=False)
    assert set(asked) == {(False, False)}
    asked.clear()
    read_back(path, kind="ext4")
    assert set(asked) == {(True, False)}


def test_a_system_that_cannot_read_around_its_cache_never_claims_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr(os, "O_DIRECT", raising=False)
    monkeypatch.delattr(os, "posix_fadvise", raising=False)
    path = small(tmp_path)
    assert path.read_bytes() == b"abc"
    assert read_back(path) == (digest_bytes(b"abc"), Grade.CACHED)


def test_a_file_whose_pages_stay_in_memory_is_graded_cached(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc" * 10_000)
    monkeypatch.setattr(readback, "_direct", lambda path: None)
    monkeypatch.setattr(os, "posix_fadvise", lambda *arguments: None)
    assert path.read_bytes()
    assert read_back(path)[1] is Grade.CACHED


def test_a_file_system_that_answers_a_direct_reading_from_memory_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    data = b"abc" * 10_000
    path.write_bytes(data)

    def through_memory(path: Path) -> str:
        return digest_bytes(path.read_bytes())

    monkeypatch.setattr(readback, "_direct", through_memory)
    monkeypatch.setattr(os, "posix_fadvise", lambda *arguments: None)
    assert path.read_bytes()
    assert read_back(path, kind="ext4") == (digest_bytes(data), Grade.CACHED)


def test_bytes_still_on_their_way_to_the_medium_are_sent_there_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Copied there by another program a moment ago, a file stayed in memory and proved nothing."""
    synced: list[int] = []
    monkeypatch.setattr(os, "fdatasync", synced.append)
    left = [True, False, False]
    monkeypatch.setattr(readback, "resident", lambda _descriptor, **_options: left.pop(0))
    direct(monkeypatch)
    assert read_back(small(tmp_path), kind="ext4")[1] is Grade.DIRECT
    assert (len(synced), left) == (1, [])
    answers(monkeypatch, False, False)
    read_back(small(tmp_path), kind="ext4")
    assert len(synced) == 1


def test_letting_go_that_fails_is_no_proof(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_arguments: object) -> None:
        raise OSError(22, "Invalid argument")

    monkeypatch.setattr(readback, "let_go", refuse)
    direct(monkeypatch, works=False)
    assert read_back(small(tmp_path), kind="ext4")[1] is Grade.CACHED


def test_a_direct_reading_that_fails_half_way_falls_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc" * 10_000)

    def broken(*arguments: object) -> int:
        raise OSError(22, "Invalid argument")

    monkeypatch.setattr(os, "preadv", broken)
    digest, grade = read_back(path)
    assert digest == digest_bytes(b"abc" * 10_000)
    assert grade is not Grade.DIRECT


def test_a_file_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_back(tmp_path / "none")
