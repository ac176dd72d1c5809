"""What the system says it holds of a file in memory."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive.store import residency
from archive.store.residency import let_go, resident

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="asks calls that Linux has")


@pytest.fixture
def synced(tmp_path: Path) -> Iterator[int]:
    descriptor = os.open(tmp_path / "a", os.O_RDWR | os.O_CREAT)
    os.write(descriptor, os.urandom(300_000))
    os.fsync(descriptor)
    yield descriptor
    os.close(descriptor)


def test_a_file_just_written_is_in_memory_by_whichever_way_is_asked(synced: int) -> None:
    assert residency._mapped(synced) is True
    assert residency._counted(synced) in (True, None)
    assert resident(synced, mapping=True) is True
    assert resident(synced, mapping=True, layered=True) is True


def test_both_ways_agree_after_the_system_was_asked_to_let_go(synced: int) -> None:
    let_go(synced)
    assert residency._counted(synced) in (residency._mapped(synced), None)


def test_a_long_file_is_asked_about_part_by_part(synced: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(residency, "_STRIDE", 65536)
    let_go(synced)
    if residency._mapped(synced):
        pytest.skip("this file system keeps what it is asked to let go of")
    os.pread(synced, 10, 262_144)
    assert residency._mapped(synced) is True


def test_nothing_is_mapped_where_that_is_not_allowed(synced: int, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(_descriptor: int) -> bool:
        raise AssertionError("a file was mapped")

    monkeypatch.setattr(residency, "_mapped", never)
    monkeypatch.setattr(residency, "_counted", lambda _descriptor: None)
    assert resident(synced, mapping=False) is None
    with pytest.raises(AssertionError, match="mapped"):
        resident(synced, mapping=True)


def test_a_layer_is_never_counted_because_that_looks_past_the_file_below(
    synced: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(residency, "_counted", lambda _descriptor: False)
    assert resident(synced, mapping=True) is False
    assert resident(synced, mapping=True, layered=True) is True
    assert resident(synced, mapping=False, layered=True) is None


def test_an_empty_file_and_another_system_tell_nothing(
    tmp_path: Path, synced: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "empty").touch()
    with (tmp_path / "empty").open("rb") as stream:
        assert resident(stream.fileno(), mapping=True) is None
    monkeypatch.setattr(residency, "_library", lambda: None)
    monkeypatch.delattr(os, "posix_fadvise")
    let_go(synced)
    assert resident(synced, mapping=True) is None
