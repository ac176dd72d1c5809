"""Volumes of an archive that lie where they were last mounted, found again without being named."""

from __future__ import annotations

from collections.abc import Collection

from archive.errors import ArchiveError
from archive.store import userplace
from archive.store.volumes import Volume, open_volume


def remembered_volumes(archive: str, *, but: Collection[str]) -> list[Volume]:
    """Volumes that were used here before and can be read now, by id; ``but`` are ids that are open already.

    What lies at a remembered place is taken only if it is that very volume of that very archive.
    """
    found = []
    for volume_id, root in sorted(userplace.remembered_mounts(archive).items()):
        if volume_id in but:
            continue
        try:
            volume = open_volume(root)
        except (ArchiveError, OSError):
            continue
        if (volume.mark.archive, volume.id) == (archive, volume_id):
            found.append(volume)
    return found
