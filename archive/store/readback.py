"""Reading a file back from its medium, as far around the cache as the system allows."""

from __future__ import annotations

import ctypes
import mmap
import os
import threading
from pathlib import Path

from archive.store.digest import BLOCK, Digester, digest_stream
from archive.store.ports import Grade


def read_back(path: Path) -> tuple[str, Grade]:
    """The XXH3-128 of a file and how the bytes were reached.

    ``direct`` reads around the page cache; ``evicted`` drops the file's pages first and has checked that
    they were gone; ``cached`` may have been answered from memory and proves nothing about the medium.
    """
    direct = _direct(path)
    if direct is not None:
        return direct, Grade.DIRECT
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
    with os.fdopen(descriptor, "rb", buffering=0) as stream:
        grade = Grade.EVICTED if _evicted(stream.fileno()) else Grade.CACHED
        return digest_stream(stream)[0], grade


def _direct(path: Path) -> str | None:
    """The digest read with O_DIRECT, or None where that does not work."""
    flag = getattr(os, "O_DIRECT", 0)
    if not flag:
        return None
    try:
        descriptor = os.open(path, os.O_RDONLY | flag)
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


def _evicted(descriptor: int) -> bool:
    """Ask the system to drop a synced file's pages; True only when it then holds none of them."""
    if not hasattr(os, "posix_fadvise"):
        return False
    size = os.fstat(descriptor).st_size
    if size == 0:
        return False
    try:
        os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
        library = ctypes.CDLL(None, use_errno=True)
        library.mmap.restype = ctypes.c_void_p
        # The mmap module hides the address of a read-only mapping, and mincore needs it.
        address = library.mmap(
            None, ctypes.c_size_t(size), mmap.PROT_READ, mmap.MAP_SHARED, descriptor, ctypes.c_long(0)
        )
        if address in (None, ctypes.c_void_p(-1).value):
            return False
        resident = (ctypes.c_ubyte * -(-size // mmap.PAGESIZE))()
        try:
            failed = library.mincore(ctypes.c_void_p(address), ctypes.c_size_t(size), resident)
        finally:
            library.munmap(ctypes.c_void_p(address), ctypes.c_size_t(size))
        return failed == 0 and not any(flag & 1 for flag in resident)
    except (OSError, ValueError, AttributeError):
        return False
