"""The hint to write out."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.store import writeout
from archive.store.writeout import start_writing_out, sync_whole


@pytest.fixture(autouse=True)
def forgotten() -> None:
    writeout._call.cache_clear()


def test_the_hint_changes_nothing_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "a"
    with path.open("wb") as stream:
        stream.write(b"abc")
        stream.flush()
        start_writing_out(stream.fileno())
    assert path.read_bytes() == b"abc"


def test_a_descriptor_that_is_none_is_no_error() -> None:
    start_writing_out(10_000)


def test_a_system_without_the_call_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writeout.sys, "platform", "darwin")
    monkeypatch.setattr(writeout.ctypes, "CDLL", lambda _name: pytest.fail("asked"))
    start_writing_out(1)


@pytest.mark.parametrize(
    ("kind", "release", "trusted"),
    [
        ("ext4", (6, 1), True),
        ("xfs", (5, 8), True),
        ("ext4", (5, 7), False),
        ("fuseblk", (6, 1), False),
        ("", (6, 1), False),
    ],
)
def test_a_whole_file_system_is_synced_only_where_its_errors_are_told(
    kind: str, release: tuple[int, int], trusted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    called: list[int] = []
    monkeypatch.setattr(writeout, "_release", lambda: release)
    monkeypatch.setattr(writeout, "_call", lambda name: lambda descriptor: called.append(descriptor) or 0)
    assert sync_whole(7, kind) is trusted
    assert called == [7] * trusted


def test_bytes_that_a_whole_sync_could_not_write_are_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writeout, "_release", lambda: (6, 1))
    monkeypatch.setattr(writeout, "_call", lambda name: lambda descriptor: -1)
    monkeypatch.setattr(writeout.ctypes, "get_errno", lambda: 5)
    with pytest.raises(OSError, match="Input/output error"):
        sync_whole(7, "ext4")
