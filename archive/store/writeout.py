"""Having the system write to the medium what it holds in memory: begun early, and for many files at once."""

from __future__ import annotations

import ctypes
import functools
import os
import platform
import sys
from collections.abc import Callable

_SYNC_FILE_RANGE_WRITE = 2
_WHOLE = frozenset(("ext4", "xfs", "btrfs", "f2fs"))
"""File systems whose sync as a whole is known to make every file durable; not so behind FUSE."""
_TELLS_ERRORS = (5, 8)
"""The Linux release since which ``syncfs`` tells of bytes that could not be written (syncfs(2))."""


def start_writing_out(descriptor: int) -> None:
    """Begin to write a file's bytes out; a hint only, where the system has one (Linux)."""
    call = _call("sync_file_range")
    if call is not None:
        call(descriptor, ctypes.c_int64(0), ctypes.c_int64(0), ctypes.c_uint(_SYNC_FILE_RANGE_WRITE))


def sync_whole(descriptor: int, kind: str) -> bool:
    """Make everything that was written to a file system durable; False where that is not to be trusted.

    Parameters
    ----------
    descriptor : any open file of it.
    kind : its type, as the mount table names it.

    Raises
    ------
    OSError : when bytes could not be written.
    """
    call = _call("syncfs") if kind in _WHOLE and _release() >= _TELLS_ERRORS else None
    if call is None:
        return False
    if call(descriptor) != 0:
        code = ctypes.get_errno()
        raise OSError(code, os.strerror(code))
    return True


@functools.cache
def _release() -> tuple[int, ...]:
    numbers = platform.release().split("-")[0].split(".")[:2]
    return tuple(int(number) for number in numbers if number.isdigit())


@functools.cache
def _call(name: str) -> Callable[..., int] | None:
    if not sys.platform.startswith("linux"):
        return None
    found: Callable[..., int] | None = getattr(ctypes.CDLL(None, use_errno=True), name, None)
    return found
