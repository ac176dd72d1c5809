"""Asking the system to begin writing to the medium what it holds in memory, without waiting for it."""

from __future__ import annotations

import ctypes
import functools
import sys
from collections.abc import Callable

_SYNC_FILE_RANGE_WRITE = 2


def start_writing_out(descriptor: int) -> None:
    """Begin to write a file's bytes out; a hint only, where the system has one (Linux)."""
    call = _call()
    if call is not None:
        call(descriptor, ctypes.c_int64(0), ctypes.c_int64(0), ctypes.c_uint(_SYNC_FILE_RANGE_WRITE))


@functools.cache
def _call() -> Callable[..., int] | None:
    if not sys.platform.startswith("linux"):
        return None
    found: Callable[..., int] | None = getattr(ctypes.CDLL(None), "sync_file_range", None)
    return found
