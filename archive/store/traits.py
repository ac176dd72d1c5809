"""What a file system cannot keep: large files, exact times; told before the first byte is written to it."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from archive.store.naming import Naming

FAT_LARGEST = (1 << 32) - 1
"""Bytes: a size has 32 bits (FAT32 specification 1.03, DIR_FileSize; from memory)."""
FAT_STEP_NS = 2_000_000_000
"""Times of writing are kept in steps of 2 s (the same specification, DIR_WrtTime; from memory)."""
_FAT = frozenset(("vfat", "msdos", "fat", "fat32"))
_TRIAL_TIME_NS = 1_773_873_061_123_456_789
_MOUNTS = Path("/proc/self/mounts")


@dataclass(frozen=True, kw_only=True)
class Traits:
    """A file system as its files show it.

    ``kind`` as the system calls it, empty where it does not say; ``largest_file`` in bytes, None
    without a limit known; ``time_step_ns`` the step that modification times are kept in.
    """

    kind: str = ""
    largest_file: int | None = None
    time_step_ns: int = 1
    naming: Naming = Naming.RENAME


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
    finally:
        here.unlink(missing_ok=True)
    kind = mount_kind(root)
    fat = kind in _FAT or step == FAT_STEP_NS
    return Traits(
        kind=kind,
        largest_file=FAT_LARGEST if fat else None,
        time_step_ns=FAT_STEP_NS if fat else step,
        naming=naming,
    )


def _time_step(path: Path) -> int:
    """How coarsely a time is kept: the largest usual step that the kept time is a multiple of."""
    os.utime(path, ns=(_TRIAL_TIME_NS, _TRIAL_TIME_NS))
    kept = path.stat().st_mtime_ns
    if kept == _TRIAL_TIME_NS:
        return 1
    return next(step for step in (FAT_STEP_NS, 10**9, 10**7, 10**6, 10**3, 100, 1) if kept % step == 0)


def mount_kind(root: Path, mounts: Path = _MOUNTS) -> str:
    """The type of the file system at a path as the mount table names it; empty where there is none."""
    try:
        lines = mounts.read_bytes().splitlines()
    except OSError:
        return ""
    here = os.fsencode(root.resolve())
    best, kind = b"", b""
    for line in lines:
        fields = line.split(b" ")
        if len(fields) < 3:
            continue
        point = _unescaped(fields[1])
        within = here == point or here.startswith(point.rstrip(b"/") + b"/")
        # Of mounts over each other, the last one is seen.
        if within and len(point) >= len(best):
            best, kind = point, fields[2]
    return kind.decode("ascii", "replace")


def _unescaped(field: bytes) -> bytes:
    """A mount table writes space, tab, newline and backslash as octal."""
    for code in (b"040", b"011", b"012", b"134"):
        field = field.replace(b"\\" + code, bytes([int(code, 8)]))
    return field
