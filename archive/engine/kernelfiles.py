"""Compiled kernels in files: one that cannot be read is made anew, one that cannot be written is not kept.

Numba's own files hold no digest, and an error while they are read or written ends the call that needed the
kernel. What lies in a file is code, so the folder has to be one that only the user can write.
"""

from __future__ import annotations

import contextlib
import logging
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import xxhash
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

_DIGEST = 16
_log = logging.getLogger(__name__)
_told: set[Path] = set()
"""Folders that could not be written in this process: said once, and not tried again."""

_dumps: Callable[[Any], bytes] = dumps
_rebuild: Callable[..., Any] = CompileResult._rebuild


class KernelFiles:
    """One kernel's compiled forms, a file for each signature and processor, asked as numba's own cache is.

    Parameters
    ----------
    folder : private to the user, for one state of the sources and compilers; it need not exist any more.
    function : the kernel as Python.
    """

    def __init__(self, folder: Path, function: Callable[..., Any]) -> None:
        self._folder = folder
        self._name = f"{function.__module__}.{function.__qualname__}"
        self._enabled = True

    @property
    def cache_path(self) -> str:
        return str(self._folder)

    def enable(self) -> None:
        self._enabled = True

    def disable(self) -> None:
        self._enabled = False

    def flush(self) -> None:
        """Forget what is kept of this kernel."""
        for path in self._folder.glob(f"{self._name}-*"):
            _drop(path)

    def load_overload(self, signature: Any, target: Any) -> Any:
        """The kernel compiled for a signature; None where it is not kept. A damaged file is dropped."""
        target.refresh()
        if not self._enabled:
            return None
        key = _key(signature, target.codegen())
        path = self._path(key)
        try:
            data = path.read_bytes()
        except OSError:
            return None
        pickled = memoryview(data)[_DIGEST:]
        if xxhash.xxh3_128_digest(pickled) != data[:_DIGEST]:
            _drop(path)
            return None
        try:
            kept, payload = pickle.loads(pickled)
            return _rebuild(target, *payload) if kept == key else None
        except Exception:
            # Whatever numba finds wrong with it: the kernel can be compiled.
            _drop(path)
            return None

    def save_overload(self, signature: Any, made: Any) -> None:
        """Keep a compiled kernel, if that can be."""
        if not self._enabled or self._folder in _told or made.lifted or made.library.has_dynamic_globals:
            return
        key = _key(signature, made.codegen)
        data = _dumps((key, made._reduce()))
        path = self._path(key)
        temporary = path.with_name(f"{path.name}.{os.urandom(8).hex()}")
        try:
            temporary.write_bytes(xxhash.xxh3_128_digest(data) + data)
            temporary.replace(path)
        except OSError as error:
            _drop(temporary)
            _told.add(self._folder)
            _log.warning(
                "Compiled kernels cannot be kept in %s: %s. Pictures are made all the same, slower.",
                self._folder, error.strerror,
            )  # fmt: skip
        except BaseException:
            _drop(temporary)
            raise

    def _path(self, key: tuple[Any, ...]) -> Path:
        return self._folder / f"{self._name}-{xxhash.xxh3_128_hexdigest(repr(key).encode())}"


def _key(signature: Any, codegen: Any) -> tuple[Any, ...]:
    return signature, codegen.magic_tuple()


def _drop(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
