"""The decorators that every kernel is compiled with, and where compiled code is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

from archive.engine.cachedir import kernel_cache

Function = Callable[..., Any]

_FOLDER = kernel_cache()
if _FOLDER is not None:
    setattr(numba.config, "CACHE_DIR", str(_FOLDER))  # noqa: B010 - its stubs hide settings

# Full fast-math lets results depend on the processor's vector width; these three do not.
_FASTMATH = {"nnan", "ninf", "nsz"}


def kernel(function: Function) -> Function:
    """Compile a pass over rows: no interpreter lock, the same bits on every processor."""
    made: Function = numba.njit(
        nogil=True, cache=_FOLDER is not None, fastmath=_FASTMATH, error_model="numpy", boundscheck=False
    )(function)
    return made


def inlined(function: Function) -> Function:
    """Compile a small function that kernels call for each pixel."""
    made: Function = numba.njit(
        nogil=True, inline="always", fastmath=_FASTMATH, error_model="numpy", boundscheck=False
    )(function)
    return made
