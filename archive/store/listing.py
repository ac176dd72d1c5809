"""What lies in a folder, read in one go, and a mark that tells whether a name came or went since."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass

SETTLED_NS = 2_000_000_000
"""How long a folder must have been left alone for its times to tell later changes from earlier ones."""
FINE_KINDS = frozenset(("apfs", "bcachefs", "btrfs", "ext4", "f2fs", "tmpfs", "xfs", "zfs"))
"""File systems of this machine whose folders keep the time of their last change by its own clock.

Shares are none of them: their times come late, in coarse steps, or by another clock.
"""


@dataclass(frozen=True, kw_only=True)
class Listing:
    """Names in a folder, sorted: plain files, folders, and whatever is neither, such as links.

    ``mark`` is another one once a name came or went; it is empty where that could not be told for sure.
    """

    files: tuple[str, ...] = ()
    folders: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    mark: str = ""


def listing(folder: str, held: str, *, fine: bool) -> Listing | None:
    """What lies in a folder; None if ``held``, its mark when it was last listed, is its mark still.

    Parameters
    ----------
    folder : its real path; nothing is listed where there is none, or a link.
    fine : the file system's times are as exact as those of ``FINE_KINDS``; without, there is no mark.
    """
    if os.path.islink(folder):  # noqa: PTH114 - as text, as the disk's own paths
        return Listing()
    mark = _mark(folder) if fine else ""
    if held and held == mark:
        return None
    kinds: tuple[list[str], list[str], list[str]] = ([], [], [])
    try:
        with os.scandir(folder) as items:
            for item in items:
                plain, inner = item.is_file(follow_symlinks=False), item.is_dir(follow_symlinks=False)
                kinds[0 if plain else 1 if inner else 2].append(item.name)
    except (FileNotFoundError, NotADirectoryError):
        return Listing()
    files, folders, others = (tuple(sorted(names)) for names in kinds)
    return Listing(files=files, folders=folders, others=others, mark=mark)


def _mark(folder: str) -> str:
    # The clock is read first: whatever changes after the times were read is then later than `now`.
    now = time.time_ns()
    try:
        found = os.stat(folder)  # noqa: PTH116 - as above
    except OSError:
        return ""
    # The change time too: copying tools set the other back to what it was elsewhere.
    if now - max(found.st_mtime_ns, found.st_ctime_ns) < SETTLED_NS:
        return ""
    return f"{found.st_dev}:{found.st_ino}:{found.st_mtime_ns}:{found.st_ctime_ns}"
