"""One volume's part in a run."""

from __future__ import annotations

import errno

import pytest
from support.disks import MemoryDisk
from support.takings import volume_in

from archive.ingest.buffers import Block, Pool
from archive.ingest.errand import Errand
from archive.ingest.lane import Lane
from archive.ingest.stages import StageMaker, inline, threaded
from archive.store.digest import digest_bytes


@pytest.fixture(params=[inline, threaded], ids=["inline", "threads"])
def lane(request: pytest.FixtureRequest) -> Lane:
    stages: StageMaker = request.param
    made = Lane(volume_in(MemoryDisk(), "BLUE"), stages, lambda _errand: None)
    made.open()
    return made


def disk_of(lane: Lane) -> MemoryDisk:
    disk = lane.volume.disk
    assert isinstance(disk, MemoryDisk)
    return disk


def errand(lane: Lane, name: str = "A", data: bytes = b"abc") -> Errand:
    return Errand(
        source=None,
        name=name,
        target=f"masters/n/r/{name}",
        size=len(data),
        modified_ns=7,
        wanted=frozenset((lane.volume.id,)),
        digest=digest_bytes(data),
    )


def block(pool: Pool, data: bytes) -> Block:
    made = pool.take()
    made.memory[: len(data)] = data
    made.size = len(data)
    made.hold(1)
    return made


def test_a_file_put_in_blocks_is_proven_at_the_end(lane: Lane) -> None:
    one, pool = errand(lane), Pool(blocks=2, size=8)
    assert lane.wants(one) and lane.lacks(one)
    lane.begin(one)
    lane.append(block(pool, b"ab"))
    lane.append(block(pool, b"c"))
    lane.end()
    lane.close()
    assert one.proven.keys() == {lane.volume.id}
    assert not lane.wants(one)
    assert not lane.lacks(one)
    assert bytes(disk_of(lane).names[one.target].data) == b"abc"
    assert len({pool.take(), pool.take()}) == 2


def test_a_dropped_file_leaves_nothing(lane: Lane) -> None:
    pool = Pool(blocks=2, size=8)
    lane.begin(errand(lane))
    lane.append(block(pool, b"ab"))
    lane.drop()
    lane.close()
    assert disk_of(lane).names == {}
    assert lane.failure is None


def test_after_a_failure_blocks_are_given_back_and_nothing_is_written(lane: Lane) -> None:
    pool, one = Pool(blocks=2, size=8), errand(lane)
    disk_of(lane).faults = lambda what: fail() if what.startswith("write") else None

    def fail() -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    lane.begin(one)
    for _ in range(20):
        lane.append(block(pool, b"ab"))
    lane.end()
    lane.begin(errand(lane, "B"))
    lane.end()
    lane.close()
    assert lane.failure is not None
    assert lane.failure.message == "BLUE cannot be written: No space left on device."
    assert not lane.wants(one)
    assert [what for what in disk_of(lane).log if what.startswith("begin")] == [disk_of(lane).log[0]]
    assert disk_of(lane).names == {}


def test_a_lane_that_is_left_removes_what_was_not_acknowledged(lane: Lane) -> None:
    pool = Pool(blocks=2, size=8)
    one, two = errand(lane, "A"), errand(lane, "B")
    lane.begin(one)
    lane.append(block(pool, b"abc"))
    lane.end()
    lane.begin(two)
    lane.append(block(pool, b"ab"))
    lane.leave()
    assert disk_of(lane).names == {}
    assert one.proven == two.proven == {}
