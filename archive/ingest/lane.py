"""One volume's part in a run: writing goes on behind the reading, proving behind the writing.

Three threads see a lane: the reader puts work in, the writer writes temporary files, the prover does the
rest. Each keeps to its own fields; a failure is set once, and everything put after it is passed over.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from archive.errors import ArchiveError
from archive.ingest.buffers import Block
from archive.ingest.errand import Errand
from archive.ingest.proving import BATCH_BYTES, BATCH_FILES, Prover, Written
from archive.ingest.stages import StageMaker
from archive.ingest.troubles import cannot_write
from archive.store.durable import temporary_name
from archive.store.volumes import Volume

_MOST_PIECES = 1 << 12
"""Far more than there are blocks: it is the blocks that bound the writer's queue."""


class Lane:
    """A volume that files are brought to, until it fails or everything is brought.

    Parameters
    ----------
    stages : makes the stages that writing and proving run in.
    again : told of a file that is to be brought once more.
    """

    def __init__(self, volume: Volume, stages: StageMaker, again: Callable[[Errand], None]) -> None:
        self.volume = volume
        self.failure: ArchiveError | None = None
        self._left = False
        self._stages = stages
        self._prover = Prover(volume, again)
        self._now: Written | None = None

    # -- called by the reader ------------------------------------------------------------------

    def open(self) -> None:
        """Be ready for work."""
        self._proving = self._stages(f"prove {self.volume.name}", BATCH_FILES, BATCH_BYTES)
        self._writing = self._stages(f"write {self.volume.name}", _MOST_PIECES, 1 << 62)

    def wants(self, errand: Errand) -> bool:
        """Whether the file is still to be proven here."""
        volume = self.volume.id
        return self.failure is None and volume in errand.wanted and volume not in errand.proven

    def lacks(self, errand: Errand) -> bool:
        """Whether nothing lies under the file's name here."""
        lacking = False
        with self._watched():
            lacking = errand.fresh or self.volume.disk.stat(errand.target) is None
        return lacking

    def begin(self, errand: Errand) -> None:
        self._writing.put(lambda: self._begin(errand))

    def append(self, block: Block) -> None:
        self._writing.put(lambda: self._append(block))

    def end(self) -> None:
        """The file is whole, and its errand knows its digest: it is to be proven."""
        self._writing.put(self._end)

    def drop(self) -> None:
        """The card did not give the file whole: what was written of it goes."""
        self._writing.put(self._drop)

    def check(self, errand: Errand) -> None:
        """The file lies here already, and its errand knows its digest: it is to be proven as it is."""
        self._writing.put(
            lambda: self._proving.put(
                lambda: self._proved(lambda: self._prover.check(errand)), min(errand.size, BATCH_BYTES)
            )
        )

    def close(self) -> None:
        """Come back when everything put is proven, or the volume has failed."""
        try:
            self._writing.close()
            self._proving.put(lambda: self._proved(self._prover.flush))
        finally:
            self._proving.close()

    def leave(self) -> None:
        """Leave everything that is not acknowledged, and remove what was written of it."""
        self._left = True
        with contextlib.suppress(Exception):
            self.close()
        self._abandon()
        self._prover.discard()

    # -- run by the stages ---------------------------------------------------------------------

    @property
    def _over(self) -> bool:
        return self._left or self.failure is not None

    @contextlib.contextmanager
    def _watched(self, doing: str = "written") -> Iterator[None]:
        """Errors of the volume end its part in the run; all others go on."""
        try:
            yield
        except ArchiveError as error:
            self.failure = self.failure or error
        except OSError as error:
            self.failure = self.failure or cannot_write(self.volume, error, doing)

    def _begin(self, errand: Errand) -> None:
        if self._over:
            return
        with self._watched():
            temporary = temporary_name("ingest")
            writing = self.volume.disk.begin(temporary)
            self._now = Written(errand=errand, writing=writing, temporary=temporary)

    def _append(self, block: Block) -> None:
        try:
            if self._now is not None and not self._over:
                with self._watched():
                    self._now.writing.write(block.bytes)
        finally:
            block.release()

    def _end(self) -> None:
        written = self._now
        if written is None or self._over:
            self._abandon()
            return
        with self._watched():
            written.writing.seal(modified_ns=written.errand.modified_ns)
            self._now = None
            size = min(written.errand.size, BATCH_BYTES)
            self._proving.put(lambda: self._take(written), size)
        if self.failure is not None:
            self._abandon()

    def _take(self, written: Written) -> None:
        if self._over:
            with contextlib.suppress(OSError):
                written.writing.abandon()
        self._proved(lambda: self._prover.add(written))

    def _proved(self, work: Callable[[], None]) -> None:
        if not self._over:
            with self._watched("read back"):
                work()
        if self._over:
            self._prover.discard()

    def _drop(self) -> None:
        self._abandon()

    def _abandon(self) -> None:
        written, self._now = self._now, None
        if written is not None:
            with contextlib.suppress(OSError):
                written.writing.abandon()
