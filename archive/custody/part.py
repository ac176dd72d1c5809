"""Keeping one archive sound."""

from __future__ import annotations

from collections.abc import Callable

from archive.catalogue.books import Books
from archive.custody.audit import run_audit
from archive.model.results import AuditReport, RebuildReport

Progress = Callable[[str, int, int], None]


class Custody:
    """Audits and rebuilds."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def audit(self, progress: Progress) -> AuditReport:
        """Re-read everything that is held on the mounted volumes and compare it with its record."""
        return run_audit(self._books, progress=progress)

    def rebuild(self, progress: Progress) -> RebuildReport:
        """Make the catalogue anew from what lies on the volumes."""
        return self._books.rebuild(progress)
