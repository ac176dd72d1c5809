"""What is said of a volume that fails while a card is taken in."""

from __future__ import annotations

from archive.errors import ArchiveError, Exit, shown
from archive.store.volumes import Volume


def cannot_write(volume: Volume, error: OSError, doing: str = "written") -> ArchiveError:
    """What is said of a volume that failed."""
    return ArchiveError(
        f"{shown(volume.name)} cannot be {doing}: {error.strerror or error}.",
        hint="The card was not changed, and what was copied before is safe. Keep the card; make room or "
        "mend the drive, then run the same command again: it goes on where it stopped.",
        exit_code=Exit.ATTENTION,
    )
