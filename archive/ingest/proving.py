"""Proof that a volume holds what the card gave: sync, read back, compare, publish; only then is it said."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from archive.errors import DamagedFileError, shown
from archive.ingest.errand import Errand
from archive.ingest.unfinished import keep_proven
from archive.model.identity import FrameId
from archive.store.ports import Grade, Writing
from archive.store.volumes import Volume

ATTEMPTS = 3
BATCH_FILES = 64
BATCH_BYTES = 256 << 20
_ALONE = 8 << 20
"""Bytes: from here on a file is proven at once, so that its read-back overlaps the next one's writing."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Written:
    """A file that is written and sealed under a temporary name, and whose errand knows its digest."""

    errand: Errand
    writing: Writing
    temporary: str


class Prover:
    """The last part of every errand on one volume. Its calls come one after another, from one thread.

    Parameters
    ----------
    again : told of a file whose copy did not read back as it was written; it is to be brought again.

    Errors of the volume are raised as they come, OSError or ArchiveError; after one, :meth:`discard`.
    """

    def __init__(self, volume: Volume, again: Callable[[Errand], None]) -> None:
        self._volume = volume
        self._again = again
        self._tries: Counter[str] = Counter()
        self._sealed: list[Written] = []
        self._sealed_size = 0
        self._named: list[tuple[Errand, Grade]] = []

    def add(self, written: Written) -> None:
        """A file to prove: at once if it is large, else together with up to 63 others of 256 MiB in all."""
        self._sealed.append(written)
        self._sealed_size += written.errand.size
        large = written.errand.size >= _ALONE or self._sealed_size >= BATCH_BYTES
        if large or len(self._sealed) >= BATCH_FILES:
            self._settle()

    def check(self, errand: Errand) -> None:
        """Prove a file that lies under its name already; other bytes there are left, and told."""
        disk = self._volume.disk
        held, grade = disk.read_back(errand.target)
        errand.found[self._volume.id] = FrameId(held)
        if held != errand.digest and not (errand.left and errand.digest is None):
            errand.clash.append(self._volume.name)
            return
        found = disk.stat(errand.target)
        if found is not None and found.writable:
            # A crash came between publishing and protecting, on a system where those are two steps.
            disk.protect(errand.target)
        self._name(errand, grade)

    def flush(self) -> None:
        """Prove and acknowledge everything that was added."""
        self._settle()
        self._acknowledge()

    def discard(self) -> None:
        """Remove what was not published, as far as the volume still lets one."""
        sealed, self._sealed = self._sealed, []
        self._named.clear()
        for written in sealed:
            with contextlib.suppress(OSError):
                written.writing.abandon()

    def _settle(self) -> None:
        disk = self._volume.disk
        self._sealed_size = 0
        if not self._sealed:
            return
        disk.finish_all([written.writing for written in self._sealed])
        while self._sealed:
            written = self._sealed[0]
            held, grade = disk.read_back(written.temporary)
            if held == written.errand.digest:
                named = self._publish(written)
                self._sealed.pop(0)
                if named:
                    self._name(written.errand, grade)
            else:
                disk.remove(written.temporary)
                self._sealed.pop(0)
                self._mismatched(written.errand)

    def _publish(self, written: Written) -> bool:
        """Give a file its name; where a link, folder or pipe is in the way, that is left, and told."""
        disk = self._volume.disk
        try:
            disk.publish(written.temporary, written.errand.target)
        except (FileExistsError, NotADirectoryError):
            disk.remove(written.temporary)
            written.errand.clash.append(self._volume.name)
            return False
        written.errand.copied = True
        return True

    def _mismatched(self, errand: Errand) -> None:
        self._tries[errand.target] += 1
        if self._tries[errand.target] >= ATTEMPTS:
            raise DamagedFileError(
                f"{shown(self._volume.name)} does not give back what was written to it: the copy of "
                f"{shown(errand.name)} did not match the card, {ATTEMPTS} times.",
                hint="The card was not changed and the copy was removed. Keep the card, and try another "
                "drive, cable or port.",
            )
        self._again(errand)

    def _name(self, errand: Errand, grade: Grade) -> None:
        self._named.append((errand, grade))
        if len(self._named) >= BATCH_FILES or sum(each.size for each, _ in self._named) >= BATCH_BYTES:
            self._acknowledge()

    def _acknowledge(self) -> None:
        """Only now are the names durable; before, a power loss could take them back."""
        for folder in sorted({errand.target.rpartition("/")[0] for errand, _ in self._named}):
            self._volume.disk.sync_folder(folder)
        self._note()
        for errand, grade in self._named:
            errand.proven[self._volume.id] = grade
        self._named.clear()

    def _note(self) -> None:
        """Put down what was proven, for a run that has to go on without the card."""
        by_ingest: dict[str, dict[str, FrameId]] = {}
        for errand, _ in self._named:
            if errand.ingest is not None and errand.digest is not None and not errand.left:
                by_ingest.setdefault(errand.ingest, {})[errand.target] = errand.digest
        for ingest, digests in by_ingest.items():
            keep_proven(ingest, digests, self._volume.disk)
