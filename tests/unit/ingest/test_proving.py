"""The last part of an errand on one volume: in which order its calls come, and when it counts."""

from __future__ import annotations

import errno

import pytest
from support.disks import MemoryDisk
from support.takings import volume_in

from archive.errors import DamagedFileError
from archive.ingest import proving
from archive.ingest.errand import Errand
from archive.ingest.proving import Prover, Written
from archive.store.digest import digest_bytes
from archive.store.ports import Grade


@pytest.fixture
def disk() -> MemoryDisk:
    return MemoryDisk()


def errand(number: int, data: bytes, volume: str) -> Errand:
    return Errand(
        source=None,
        name=f"A{number}",
        target=f"masters/n/r/{number // 10}/A{number}",
        size=len(data),
        modified_ns=7,
        wanted=frozenset((volume,)),
        digest=digest_bytes(data),
    )


def written(disk: MemoryDisk, number: int, data: bytes, volume: str, *, kept: bytes | None = None) -> Written:
    writing = disk.begin(f"incoming/ingest-{number}.part")
    writing.write(data if kept is None else kept)
    writing.seal(modified_ns=7)
    return Written(
        errand=errand(number, data, volume), writing=writing, temporary=f"incoming/ingest-{number}.part"
    )


def test_a_file_counts_only_after_sync_read_back_publishing_and_the_sync_of_its_folder(
    disk: MemoryDisk,
) -> None:
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    order: list[str] = []
    disk.faults = order.append
    one = written(disk, 1, b"a", volume.id)
    prover.add(one)
    assert one.errand.proven == {}
    prover.flush()
    assert [what.split()[0] for what in order] == [
        "begin",
        "write",
        "seal",
        "finish",
        "read",
        "publish",
        "sync",
    ]
    assert order[-1] == "sync masters/n/r/0"
    assert one.errand.proven == {volume.id: Grade.DIRECT}


def test_small_files_wait_for_64_and_are_then_synced_together(disk: MemoryDisk) -> None:
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    files = [written(disk, number, b"a", volume.id) for number in range(65)]
    for each in files[:63]:
        prover.add(each)
    assert not any(each.errand.copied for each in files)
    prover.add(files[63])
    assert sum(volume.id in each.errand.proven for each in files) == 64
    syncs = [what for what in disk.log if what.startswith("sync")]
    assert syncs == [f"sync masters/n/r/{ten}" for ten in range(7)]
    prover.add(files[64])
    prover.flush()
    assert all(volume.id in each.errand.proven for each in files)


@pytest.mark.parametrize("limit", ["BATCH_BYTES", "_ALONE"])
def test_large_files_do_not_wait_for_others(
    disk: MemoryDisk, limit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proving, limit, 100)
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    one = written(disk, 1, bytes(100), volume.id)
    prover.add(one)
    assert one.errand.copied
    assert bool(one.errand.proven) is (limit == "BATCH_BYTES")


def test_a_copy_that_differs_goes_and_is_asked_for_again_and_the_third_time_the_volume_has_failed(
    disk: MemoryDisk,
) -> None:
    volume = volume_in(disk, "BLUE")
    asked: list[Errand] = []
    prover = Prover(volume, asked.append)
    for attempt in (1, 2):
        prover.add(written(disk, 1, b"right", volume.id, kept=b"wrong"))
        prover.flush()
        assert len(asked) == attempt
        assert list(disk.names) == []
    with pytest.raises(DamagedFileError, match="BLUE does not give back what was written to it"):
        prover.add(written(disk, 1, b"right", volume.id, kept=b"wrong"))
        prover.flush()
    prover.discard()
    assert list(disk.names) == []


def test_what_lies_there_is_proven_protected_and_acknowledged(disk: MemoryDisk) -> None:
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    one = errand(1, b"right", volume.id)
    writing = disk.begin(one.target)
    writing.write(b"right")
    prover.check(one)
    prover.flush()
    assert one.proven == {volume.id: Grade.DIRECT}
    assert not one.copied
    found = disk.stat(one.target)
    assert found is not None
    assert not found.writable


def test_other_bytes_that_lie_there_are_a_clash_and_stay(disk: MemoryDisk) -> None:
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    one = errand(1, b"right", volume.id)
    disk.begin(one.target).write(b"other")
    prover.check(one)
    prover.flush()
    assert (one.clash, one.proven) == (["BLUE"], {})
    assert bytes(disk.names[one.target].data) == b"other"


def test_what_is_discarded_is_removed_and_never_acknowledged(disk: MemoryDisk) -> None:
    volume = volume_in(disk, "BLUE")
    prover = Prover(volume, lambda _errand: None)
    one = written(disk, 1, b"a", volume.id)
    prover.add(one)

    def broken(what: str) -> None:
        if what.startswith("read back"):
            raise OSError(errno.EIO, "Input/output error")

    disk.faults = broken
    with pytest.raises(OSError, match="Input/output error"):
        prover.flush()
    prover.discard()
    prover.flush()
    assert list(disk.names) == []
    assert one.errand.proven == {}
