"""An archive with one sequence of small pictures, and how exports in it are looked at."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from support.cards import archive_in, site_of, tiny_card

from archive.model.results import ExportReport
from archive.workspace import Workspace

SEQUENCE = "2026-03-18/one/1"


@dataclass(frozen=True, kw_only=True)
class Studio:
    """One open archive with the sequence ``SEQUENCE`` of six frames, and the card it came from."""

    workspace: Workspace
    root: Path
    card: Path

    def export(self, name: str, spec: str, **options: bool) -> ExportReport:
        return self.workspace.exports.export(name, spec, **options)

    def path(self, report: ExportReport, position: int = 0) -> Path:
        return self.root / report.files[position].path

    def master(self, name: str) -> Path:
        """The master file of a camera file name."""
        (path,) = (self.root / "masters").rglob(name)
        return path

    def entries(self, kind: str) -> int:
        """How many entries of a kind the journal holds."""
        return len(list((self.root / "journal").rglob(f"*-{kind}-*.json")))

    def reopened(self) -> Studio:
        from archive.workspace import open_archive

        self.workspace.close()
        return Studio(workspace=open_archive(self.root, person="Ingrid"), root=self.root, card=self.card)


def studio(folder: Path, frames: int = 6) -> Studio:
    """A studio in a new folder."""
    card = tiny_card(folder / "card", frames)
    workspace = archive_in(folder / "archive")
    workspace.ingest.take([card], site=site_of(workspace))
    return Studio(workspace=workspace, root=folder / "archive", card=card)
