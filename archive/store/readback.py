"""Reading a file back from its medium, as far around the cache as the system allows."""

from __future__ import annotations

import mmap
import os
import threading
from pathlib import Path

from archive.store.digest import BLOCK, Digester, digest_stream
from archive.store.mounttable import mount_kind
from archive.store.ports import Grade
from archive.store.residency import let_go, resident

_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)
_MEMORY = frozenset(("tmpfs", "ramfs", "devtmpfs", "hugetlbfs"))
"""File systems that are memory and nothing else."""
_OWN_CACHE = frozenset(("zfs", "aufs", "ecryptfs"))
"""File systems that keep bytes where the system cannot see them, or read another one that does."""
_LAYERED = "overlay"
_PROGRAMS = ("fuse", "fuseblk")
"""File systems that are programs: they read through caches of their own."""


def read_back(path: Path, *, kind: str | None = None, ours: bool = True) -> tuple[str, Grade]:
    """The XXH3-128 of a file and how the bytes were reached.

    ``direct`` reads around the page cache, and the system was seen to hold nothing of the file afterwards:
    some file systems answer such a reading from memory after all. ``evicted``: the file's pages were dropped
    first and seen to be gone. ``cached`` may have been answered from memory and proves nothing of the medium;
    so may everything that is read through a file system whose memory cannot be looked into.

    Parameters
    ----------
    kind : the type of the file system, where it is known; else the mount table is asked.
    ours : the file is the archive's own; one on a card is never mapped.
    """
    kind = mount_kind(path) if kind is None else kind
    layered = kind == _LAYERED
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | _NOFOLLOW)
    with os.fdopen(descriptor, "rb", buffering=0) as stream:
        gone = _dropped(stream.fileno(), ours, layered)
        digest = _direct(path)
        if digest is None:
            return digest_stream(stream)[0], Grade.EVICTED if gone and not hides(kind) else Grade.CACHED
        left = resident(stream.fileno(), mapping=ours, layered=layered)
    if hides(kind) or (layered and left is None):
        return digest, Grade.CACHED
    if not left:
        return digest, Grade.DIRECT
    return digest, Grade.EVICTED if gone else Grade.CACHED


def hides(kind: str) -> bool:
    """Whether a type of file system may answer from memory without anyone being able to tell."""
    return kind in _MEMORY or kind in _OWN_CACHE or kind.partition(".")[0] in _PROGRAMS


def _dropped(descriptor: int, ours: bool, layered: bool) -> bool:
    """Have a file's pages dropped; True only when they were then seen to be gone."""
    try:
        let_go(descriptor)
        left = resident(descriptor, mapping=ours, layered=layered)
        if left and hasattr(os, "fdatasync"):
            # Bytes that another program wrote and that are still on their way cannot be dropped.
            os.fdatasync(descriptor)
            let_go(descriptor)
            left = resident(descriptor, mapping=ours, layered=layered)
    except OSError:
        return False
    return left is False


def _direct(path: Path) -> str | None:
    """The digest read with O_DIRECT, or None where that does not work."""
    flag = getattr(os, "O_DIRECT", 0)
    if not flag:
        return None
    try:
        descriptor = os.open(path, os.O_RDONLY | flag | _NOFOLLOW)
    except OSError:
        return None
    try:
        size = os.fstat(descriptor).st_size
        digester = Digester()
        buffer = _buffer()
        while digester.size < size:
            # A system clears all of what it is asked to fill: of a small file no more than its pages.
            wanted = min(BLOCK, -(-(size - digester.size) // mmap.PAGESIZE) * mmap.PAGESIZE)
            count = os.preadv(descriptor, [buffer[:wanted]], digester.size)
            if count <= 0:
                return None
            digester.update(buffer[:count])
        return digester.id
    except OSError:
        return None
    finally:
        os.close(descriptor)


_KEPT = threading.local()


def _buffer() -> memoryview:
    """Memory that begins on a page, as direct reading wants it; one for each thread, kept."""
    held: memoryview | None = getattr(_KEPT, "buffer", None)
    if held is None:
        held = _KEPT.buffer = memoryview(mmap.mmap(-1, BLOCK))
    return held
