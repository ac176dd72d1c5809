"""Makes archives and their volumes, and finds the one that is meant."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

from archive.errors import ArchiveError, UsageError, shown
from archive.formats.volume import VolumeMark
from archive.model.identity import new_token
from archive.store.volumes import Volume, create_volume, find_volume


def new_archive(folder: Path | str, name: str | None = None) -> Volume:
    """Make an archive: its first volume, in a new or empty folder.

    Raises
    ------
    UsageError : when the folder holds something, or lies in an archive.
    ArchiveError : when it cannot be written.
    """
    root = Path(folder)
    around = find_volume(root if root.exists() else root.parent)
    if around is not None:
        raise UsageError(
            f"{shown(str(root))} lies in the archive {shown(str(around))}.",
            hint="Nothing was changed. An archive needs a folder of its own.",
        )
    return create_volume(root, _mark(new_token(), name or root.resolve().name))


def new_volume(folder: Path | str, archive_id: str, name: str | None = None) -> Volume:
    """Make another volume of an archive that exists."""
    root = Path(folder)
    return create_volume(root, _mark(archive_id, name or root.resolve().name))


def _mark(archive_id: str, name: str) -> VolumeMark:
    created = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return VolumeMark(
        archive=archive_id, volume=new_token(), name=shown(name)[:100] or "archive", created=created
    )


def locate(named: Path | str | None) -> Path:
    """The archive meant: the one named, the one in NOCTUARY_ARCHIVE, or the one this folder lies in.

    Raises
    ------
    ArchiveError : when there is none.
    """
    chosen = named or os.environ.get("NOCTUARY_ARCHIVE")
    if chosen:
        return find_volume(Path(chosen)) or Path(chosen)
    found = find_volume(Path.cwd())
    if found is None:
        raise ArchiveError(
            "There is no archive here.",
            hint="Nothing was changed. Make one with `noctuary new FOLDER`, go into yours, "
            "or name it with --archive.",
        )
    return found
