"""What a file system cannot keep: large files, exact times, a read-only mark; told before the first byte."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from archive.store.mounttable import mount_kind
from archive.store.naming import Naming
from archive.store.protecting import protect

FAT_LARGEST = (1 << 32) - 1
"""Bytes: a size has 32 bits (FAT32 specification 1.03, DIR_FileSize; from memory)."""
FAT_STEP_NS = 2_000_000_000
"""Times of writing are kept in steps of 2 s (the same specification, DIR_WrtTime; from memory)."""
_FAT = frozenset(("vfat", "msdos", "fat", "fat32"))
_TRIAL_TIME_NS = 1_773_873_061_123_456_789


@dataclass(frozen=True, kw_only=True)
class Traits:
    """A file system as its files show it.

    ``kind`` as the system calls it, empty where it does not say; ``largest_file`` in bytes, None
    without a limit known; ``time_step_ns`` the step that modification times are kept in;
    ``keeps_read_only`` whether a file can be marked as not to be written.
    """

    kind: str = ""
    largest_file: int | None = None
    time_step_ns: int = 1
    naming: Naming = Naming.RENAME
    keeps_read_only: bool = True


def traits_of(root: Path, trial: Path, name: Callable[[Path, Path], Naming]) -> Traits:
    """The traits of the file system that ``root`` lies on, from its type and from trials.

    Parameters
    ----------
    trial : a path below ``root`` that no one uses; a file is made there, renamed beside it, and removed.
    name : gives a file a name that nothing has, and tells how.

    Raises
    ------
    OSError : when the trial file cannot be made.
    """
    named = trial.with_name(trial.stem + "-named" + trial.suffix)
    here = trial
    try:
        trial.write_bytes(b"")
        step = _time_step(trial)
        naming = name(trial, named)
        here = named
        marked = protect(named)
    finally:
        _remove(here)
    kind = mount_kind(root)
    fat = kind in _FAT or step == FAT_STEP_NS
    return Traits(
        kind=kind,
        largest_file=FAT_LARGEST if fat else None,
        time_step_ns=FAT_STEP_NS if fat else step,
        naming=naming,
        keeps_read_only=marked,
    )


def _remove(trial: Path) -> None:
    with contextlib.suppress(OSError):
        # Windows refuses to remove what is read-only.
        trial.chmod(0o644)
    trial.unlink(missing_ok=True)


def _time_step(path: Path) -> int:
    """How coarsely a time is kept: the largest usual step that the kept time is a multiple of."""
    os.utime(path, ns=(_TRIAL_TIME_NS, _TRIAL_TIME_NS))
    kept = path.stat().st_mtime_ns
    if kept == _TRIAL_TIME_NS:
        return 1
    return next(step for step in (FAT_STEP_NS, 10**9, 10**7, 10**6, 10**3, 100, 1) if kept % step == 0)
