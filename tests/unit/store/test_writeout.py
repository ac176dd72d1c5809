"""The hint to write out."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.store import writeout
from archive.store.writeout import start_writing_out


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
