"""Locks, and what their text says."""

from __future__ import annotations

import fcntl
import json
import os
from pathlib import Path

import pytest

from archive.errors import ArchiveError
from archive.store.durable import LocalDisk
from archive.store.locks import held, holder


def opened(path: Path) -> int:
    return os.open(path, os.O_RDWR | os.O_CREAT)


def never() -> None:
    raise AssertionError("nobody else holds it")


def test_a_lock_says_who_holds_it_and_is_empty_afterwards(tmp_path: Path) -> None:
    path = tmp_path / "x.lock"
    with held(opened(path), "An ingest", never):
        assert json.loads(path.read_bytes())["purpose"] == "An ingest"
        assert holder(path).startswith(f"An ingest is running (process {os.getpid()} on ")
    assert path.read_bytes() == b""
    assert holder(path) == holder(tmp_path / "none") == "another Noctuary is at work here."


def test_a_lock_holds_on_a_full_volume_without_its_text(tmp_path: Path) -> None:
    """The run ended with "No space left on device", which named no volume. /dev/full is always full."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    entered = False
    with held(os.open("/dev/full", os.O_RDWR), "An ingest", never):
        entered = True
    assert entered


def test_where_a_lock_file_cannot_be_made_the_place_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(LocalDisk, "_make_folder", full)
    with (
        pytest.raises(ArchiveError, match=f"{tmp_path.name} cannot be written: No space left on device"),
        LocalDisk(tmp_path).lock("ingest", "An ingest"),
    ):
        pass


def test_where_no_lock_works_that_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def lacking(*_arguments: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", lacking)
    with pytest.raises(ArchiveError, match="No lock works"), held(opened(tmp_path / "x"), "An ingest", never):
        pass
