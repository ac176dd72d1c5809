"""An archive with one sequence of small pictures, and how exports in it are looked at."""

from __future__ import annotations

import atexit
import functools
import shutil
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from support.cards import archive_in, site_of, tiny_card

from archive.engine import operator
from archive.formats import volume
from archive.model.identity import new_token
from archive.model.recipe import OperatorValues, Recipe
from archive.model.results import ExportReport
from archive.store import userplace
from archive.workspace import Workspace, open_archive

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

    def save_later_operator(self, name: str) -> None:
        """Give a frame's own recipe an operator that no release up to this one has, beside a known one."""
        bench = self.workspace.recipes.bench
        frame = bench.one(name)
        base = (
            operator.checked("exposure", {"stops": 0.5}),
            OperatorValues(name="skyglow", version=3, values={"share": 0.5}),
        )
        recipe = Recipe(foundation=bench.foundation, base=base)
        bench.save_own(frame, bench.standing(frame), recipe, in_sequence=True)

    def reopened(self) -> Studio:
        self.workspace.close()
        return Studio(workspace=open_archive(self.root, person="Ingrid"), root=self.root, card=self.card)


@functools.cache
def _made(frames: int) -> Path:
    """A studio that is made once and copied: its card, its archive, and what its cache holds."""
    folder = Path(tempfile.mkdtemp(prefix="noctuary-studio-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    card = tiny_card(folder / "card", frames)
    workspace = archive_in(folder / "archive")
    workspace.ingest.take([card], site=site_of(workspace))
    cache = userplace.cache_folder(workspace.books.home.mark.archive)
    workspace.close()
    shutil.copytree(cache, folder / "cache", ignore=shutil.ignore_patterns("mounts.json"))
    return folder


def studio(folder: Path, frames: int = 6) -> Studio:
    """A studio in a new folder: an archive of its own, with an id that no other has."""
    made = _made(frames)
    root = folder / "archive"
    shutil.copytree(made / "card", folder / "card")
    shutil.copytree(made / "archive", root)
    path = root / volume.NAME
    mark = replace(volume.decode(path.read_bytes()), archive=new_token())
    path.chmod(0o644)
    path.write_bytes(volume.encode(mark))
    path.chmod(0o444)
    shutil.copytree(made / "cache", userplace.cache_folder(mark.archive), dirs_exist_ok=True)
    return Studio(workspace=open_archive(root, person="Ingrid"), root=root, card=folder / "card")
