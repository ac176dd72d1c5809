"""Whether the system holds bytes of a file in memory, and asking it to let go of them."""

from __future__ import annotations

import ctypes
import functools
import mmap
import os
import sys

_CACHESTAT = 451
"""The number of the call on every Linux that has it, since release 6.5 (cachestat(2); from memory)."""
_STRIDE = 1 << 30
"""Bytes that are asked about at a time where a file must be mapped for it."""


def let_go(descriptor: int) -> None:
    """Ask the system to drop what it holds of a synced file; it may decline."""
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)


def resident(descriptor: int, *, mapping: bool, layered: bool = False) -> bool | None:
    """Whether any byte of a file is held in memory; None where the system does not tell.

    Parameters
    ----------
    mapping : the file may be mapped to find out, where the system has no other way. Not for files on cards:
        a card may be taken out at any moment.
    layered : the file lies on one file system through another; only a mapping reaches the one below.
    """
    if os.fstat(descriptor).st_size == 0:
        return None
    told = None if layered else _counted(descriptor)
    if told is None and mapping:
        told = _mapped(descriptor)
    return told


class _Range(ctypes.Structure):
    _fields_ = (("offset", ctypes.c_uint64), ("length", ctypes.c_uint64))


class _Counts(ctypes.Structure):
    _fields_ = tuple(
        (name, ctypes.c_uint64) for name in ("cache", "dirty", "writeback", "evicted", "recently_evicted")
    )


def _counted(descriptor: int) -> bool | None:
    library = _library()
    if library is None:
        return None
    # A length of 0 reaches to the end.
    whole, counts = _Range(0, 0), _Counts()
    failed = library.syscall(
        ctypes.c_long(_CACHESTAT),
        ctypes.c_uint(descriptor),
        ctypes.byref(whole),
        ctypes.byref(counts),
        ctypes.c_uint(0),
    )
    return None if failed else counts.cache + counts.dirty + counts.writeback > 0


def _mapped(descriptor: int) -> bool | None:
    library = _library()
    if library is None:
        return None
    size = os.fstat(descriptor).st_size
    for start in range(0, size, _STRIDE):
        length = ctypes.c_size_t(min(_STRIDE, size - start))
        # The mmap module hides the address of a read-only mapping, and mincore needs it.
        address = library.mmap(
            None, length, mmap.PROT_READ, mmap.MAP_SHARED, descriptor, ctypes.c_int64(start)
        )
        if address in (None, ctypes.c_void_p(-1).value):
            return None
        pages = (ctypes.c_ubyte * -(-length.value // mmap.PAGESIZE))()
        try:
            failed = library.mincore(ctypes.c_void_p(address), length, pages)
        finally:
            library.munmap(ctypes.c_void_p(address), length)
        if failed:
            return None
        # Nothing but the lowest bit of each is defined (mincore(2)).
        if any(page & 1 for page in bytes(pages)):
            return True
    return False


@functools.cache
def _library() -> ctypes.CDLL | None:
    if not sys.platform.startswith("linux"):
        return None
    library = ctypes.CDLL(None, use_errno=True)
    library.mmap.restype = ctypes.c_void_p
    library.syscall.restype = ctypes.c_long
    return library
