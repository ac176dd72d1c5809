"""Memory that two processes see."""

import errno
import os

import pytest

from archive.engine.sharedroom import SharedRoom


@pytest.fixture
def room() -> SharedRoom:
    made = SharedRoom.made()
    if made is None:
        pytest.skip("this system has no anonymous files in memory")
    return made


def test_what_is_written_is_read_at_its_place(room: SharedRoom) -> None:
    assert room.write(0, memoryview(b"first"))
    assert room.write(5, memoryview(b"second"))
    assert room.read(5, 6) == b"second"
    target = bytearray(5)
    room.read_into(0, memoryview(target))
    assert bytes(target) == b"first"
    room.close()


def test_reading_beyond_the_end_is_noticed(room: SharedRoom) -> None:
    room.write(0, memoryview(b"short"))
    with pytest.raises(EOFError):
        room.read(2, 10)
    with pytest.raises(EOFError):
        room.read_into(0, memoryview(bytearray(6)))


def test_no_memory_is_told_and_raises_nothing(room: SharedRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "full")

    monkeypatch.setattr(os, "posix_fallocate", full)
    assert not room.write(0, memoryview(b"x"))


def test_nobody_can_cut_it_short_under_the_other(room: SharedRoom) -> None:
    room.write(0, memoryview(b"whole"))
    with pytest.raises(PermissionError):
        os.ftruncate(room.descriptor, 1)
    assert room.read(0, 5) == b"whole"


def test_what_the_other_side_makes_longer_is_seen(room: SharedRoom) -> None:
    other = SharedRoom(os.dup(room.descriptor))
    room.write(0, memoryview(b"short"))
    assert other.read(0, 5) == b"short"
    room.write(5, memoryview(bytes(20_000) + b"end"))
    assert other.read(20_005, 3) == b"end"
    other.write(5, memoryview(b"answer"))
    assert room.read(0, 11) == b"shortanswer"
    other.close()
    room.close()


def test_what_cannot_be_sealed_is_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = os.memfd_create
    monkeypatch.setattr(os, "memfd_create", lambda name, flags: plain(name, os.MFD_CLOEXEC))
    assert SharedRoom.made() is None


def test_a_system_without_it_gives_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> int:
        raise OSError(errno.EMFILE, "too many")

    monkeypatch.setattr(os, "memfd_create", refused, raising=False)
    assert SharedRoom.made() is None
    monkeypatch.delattr(os, "memfd_create")
    assert SharedRoom.made() is None
