"""The decorators that every kernel is compiled with, and where compiled code is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

from archive.engine.cachedir import kernel_cache
from archive.engine.kernelfiles import KernelFiles

Function = Callable[..., Any]

_FOLDER = kernel_cache()
# The folder is named by the sources of these; of others nobody would notice a change.
_KEPT = ("archive.engine.", "archive.demo.")

# Full fast-math lets results depend on the processor's vector width; these three do not.
_FASTMATH = {"nnan", "ninf", "nsz"}


def kernel(function: Function) -> Function:
    """Compile a pass over rows: no interpreter lock, the same bits on every processor."""
    made: Any = numba.njit(nogil=True, fastmath=_FASTMATH, error_model="numpy", boundscheck=False)(function)
    if _FOLDER is not None and function.__module__.startswith(_KEPT) and function.__closure__ is None:
        # As its own enable_caching does, which offers no other files.
        made._cache = KernelFiles(_FOLDER, function)
    return made  # type: ignore[no-any-return]


def inlined(function: Function) -> Function:
    """Compile a small function that kernels call for each pixel."""
    made: Function = numba.njit(
        nogil=True, inline="always", fastmath=_FASTMATH, error_model="numpy", boundscheck=False
    )(function)
    return made
