"""Reading back around the cache, and what is said when that does not work."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from archive.store import readback
from archive.store.digest import BLOCK, digest_bytes
from archive.store.ports import Grade
from archive.store.readback import read_back


@pytest.fixture(params=[0, 1, 511, 4096, 4097, BLOCK, BLOCK + 13])
def held(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, bytes]:
    data = os.urandom(request.param)
    path = tmp_path / "a.dng"
    path.write_bytes(data)
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())
    return path, data


def test_every_way_of_reading_gives_the_digest_of_the_bytes(
    held: tuple[Path, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    path, data = held
    assert read_back(path)[0] == digest_bytes(data)
    monkeypatch.setattr(readback, "_direct", lambda path: None)
    assert read_back(path)[0] == digest_bytes(data)
    monkeypatch.setattr(readback, "_evicted", lambda descriptor: False)
    assert read_back(path) == (digest_bytes(data), Grade.CACHED)


def test_a_reading_around_the_cache_is_graded_direct(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    monkeypatch.setattr(readback, "_direct", lambda path: digest_bytes(b"abc"))
    assert read_back(tmp_path / "a") == (digest_bytes(b"abc"), Grade.DIRECT)


def test_a_system_that_cannot_read_around_its_cache_never_claims_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    monkeypatch.delattr(os, "O_DIRECT", raising=False)
    monkeypatch.delattr(os, "posix_fadvise", raising=False)
    assert read_back(tmp_path / "a") == (digest_bytes(b"abc"), Grade.CACHED)


def test_a_file_whose_pages_stay_in_memory_is_graded_cached(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"abc" * 10_000)
    monkeypatch.setattr(readback, "_direct", lambda path: None)
    monkeypatch.setattr(os, "posix_fadvise", lambda *arguments: None)
    assert path.read_bytes()
    assert read_back(path)[1] is Grade.CACHED


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
