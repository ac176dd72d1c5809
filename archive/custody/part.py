"""Keeping one archive sound."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path

from archive.catalogue.books import Books
from archive.custody.audit import run_audit
from archive.custody.devices import declare_device
from archive.custody.journal_view import look
from archive.custody.may_erase import may_erase
from archive.custody.records import copy_records, mend_records
from archive.custody.unite import run_unite
from archive.model.erasing import CardReading, EraseAnswer
from archive.model.records import RecordsReport
from archive.model.results import AuditReport, RebuildReport
from archive.model.uniting import JournalView, UniteReport
from archive.store.volumes import Volume

Progress = Callable[[str, int, int], None]


class Custody:
    """Audits and rebuilds."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def audit(self, progress: Progress) -> AuditReport:
        """Re-read everything that is held on the mounted volumes and compare it with its record."""
        return run_audit(self._books, progress=progress)

    def mend_records(self) -> RecordsReport:
        """Replace damaged or missing surveys and activity files by the bytes that another volume holds."""
        return mend_records(self._books)

    def copy_records(self, volume: Volume) -> RecordsReport:
        """Bring a volume the surveys and activity files that the other mounted ones hold and it lacks."""
        return copy_records(self._books, volume)

    def rebuild(self, progress: Progress) -> RebuildReport:
        """Make the catalogue anew from what lies on the volumes."""
        return self._books.rebuild(progress)

    def may_erase(
        self,
        reading: CardReading,
        *,
        copies: int,
        within: timedelta,
        also: Sequence[Volume],
        progress: Progress,
    ) -> EraseAnswer:
        """Whether a card, as it was just read, may be erased; ``also`` are further volumes to read."""
        return may_erase(self._books, reading, copies=copies, within=within, also=also, progress=progress)

    def declare_device(self, volume: str, device: str) -> str:
        """State on which physical thing a volume lies; gives the volume's id."""
        return declare_device(self._books, volume, device)

    def unite(self, folder: Path, *, different: bool = False) -> UniteReport:
        """Take in the entries of another copy of this archive, and give it those that it lacks.

        An archive that was begun apart is taken in only if it is meant (``different``), and gets nothing;
        without that the report tells what would come, and nothing is written.
        """
        return run_unite(self._books, folder, different=different)

    def journal(self, *, newest: int = 20) -> JournalView:
        """The newest entries, newest first, and everything that is odd about the journal."""
        return look(self._books, newest=newest)
