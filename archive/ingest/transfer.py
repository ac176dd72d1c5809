"""Files from a card to every volume: each read once, written to all at once, proven behind the writing.

The caller's thread reads and hashes; each volume has a :class:`archive.ingest.lane.Lane` with two stages of
its own. So the read-back of one file overlaps the writing of the next and the reading of the one after,
and a volume that fails is passed over while the others complete.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from archive.errors import ArchiveError
from archive.ingest.buffers import Pool
from archive.ingest.errand import Errand
from archive.ingest.lane import Lane
from archive.ingest.proving import ATTEMPTS
from archive.ingest.reading import CardReadError, Reading
from archive.ingest.stages import StageMaker, threaded
from archive.model.identity import FrameId
from archive.store.volumes import Volume


@dataclass(frozen=True, kw_only=True)
class Engine:
    """How a run copies: ``stages`` in threads or inline, ``pool`` the memory that bounds it.

    ``checkpoint`` is called between blocks; what it raises stops the run and goes on to the caller.
    """

    stages: StageMaker = threaded
    pool: Pool = field(default_factory=Pool)
    checkpoint: Callable[[], None] = lambda: None


def bring(
    errands: Sequence[Errand],
    volumes: Sequence[Volume],
    *,
    engine: Engine,
    progress: Callable[[int], None],
) -> dict[str, ArchiveError]:
    """Bring files to the volumes they are wanted on; gives the volumes that failed, by id, and why.

    What became of each file stands in its errand. A copy that does not read back as it was written is
    brought again, three times at the most; then its volume has failed.
    """
    again: list[Errand] = []
    lanes = [Lane(volume, engine.stages, again.append) for volume in volumes]
    left: Sequence[Errand] = errands
    for attempt in range(ATTEMPTS + 1):
        for lane in lanes:
            lane.open()
        try:
            for errand in left:
                _bring(errand, lanes, engine, progress if attempt == 0 else _untold)
            for lane in lanes:
                lane.close()
        except BaseException:
            for lane in lanes:
                lane.leave()
            raise
        left = list(dict.fromkeys(again))
        again.clear()
        if not left:
            break
    return {lane.volume.id: lane.failure for lane in lanes if lane.failure is not None}


def _bring(errand: Errand, lanes: Sequence[Lane], engine: Engine, progress: Callable[[int], None]) -> None:
    wanting = [lane for lane in lanes if lane.wants(errand)]
    lacking = [lane for lane in wanting if lane.lacks(errand)]
    wanting = [lane for lane in wanting if lane.failure is None]
    if not wanting or errand.fault is not None:
        return
    if errand.left:
        wanting = [lane for lane in wanting if lane not in lacking]
        progress(errand.size)
    elif lacking or errand.digest is None:
        if errand.source is None:
            errand.fault = "no card here has it"
            return
        try:
            digest = _read(errand, errand.source, lacking, engine, progress)
            if errand.digest is not None and errand.digest != digest:
                raise CardReadError("two readings of it differ")
        except (CardReadError, OSError) as error:
            # Volumes keep their own errors: whatever comes here is the card's, and of this file alone.
            errand.fault = str(error)
            for lane in lacking:
                lane.drop()
            return
        errand.digest = digest
    else:
        progress(errand.size)
    for lane in wanting:
        if lane in lacking and not errand.left:
            lane.end()
        else:
            lane.check(errand)


def _read(
    errand: Errand, source: Path, lanes: Sequence[Lane], engine: Engine, progress: Callable[[int], None]
) -> FrameId:
    """One reading, hashed on its way to every lane."""
    for lane in lanes:
        lane.begin(errand)
    reading = Reading(source)
    left = errand.size
    try:
        while True:
            engine.checkpoint()
            block = engine.pool.take()
            try:
                block.size = reading.into(block.memory)
            except BaseException:
                engine.pool.give_back(block)
                raise
            if not block.size:
                engine.pool.give_back(block)
                break
            left -= block.size
            progress(block.size)
            block.hold(len(lanes))
            for lane in lanes:
                lane.append(block)
        if left:
            raise CardReadError("it changed while it was being read")
        return reading.end()
    finally:
        reading.close()


def _untold(_count: int) -> None:
    """Nothing: what is brought again was told of before."""
