"""A new file on a disk of this machine, from its first byte until it is durable."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from archive.store.protecting import protect
from archive.store.writeout import start_writing_out, sync_whole

_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)
_BINARY = getattr(os, "O_BINARY", 0)
_CLOEXEC = getattr(os, "O_CLOEXEC", 0)
_STRIDE = 8 << 20
"""Bytes after which the system is asked to write out: left alone it lets them pile up until the sync."""


class LocalWriting:
    """A new file under a temporary name, as a :class:`archive.store.ports.Writing`."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._descriptor = os.open(
            path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _NOFOLLOW | _BINARY | _CLOEXEC, 0o644
        )
        self._open = True
        self._sealed = False
        self._unasked = 0

    def write(self, block: bytes | memoryview) -> None:
        view = memoryview(block)
        self._unasked += len(view)
        while view:
            written = os.write(self._descriptor, view)
            view = view[written:]
        if self._unasked >= _STRIDE:
            start_writing_out(self._descriptor)
            self._unasked = 0

    def seal(self, *, modified_ns: int | None = None) -> None:
        protect(self._path)
        if modified_ns is not None:
            os.utime(self._path, ns=(modified_ns, modified_ns))
        start_writing_out(self._descriptor)
        self._sealed = True

    def finish(self, *, modified_ns: int | None = None) -> None:
        if not self._sealed:
            self.seal(modified_ns=modified_ns)
        os.fsync(self._descriptor)
        self.close()

    def sync_whole(self, kind: str) -> bool:
        """Sync the whole file system, which is of that type; False where only :meth:`finish` will do."""
        return sync_whole(self._descriptor, kind)

    def close(self) -> None:
        """Close a sealed file that was synced with its whole file system."""
        os.close(self._descriptor)
        self._open = False

    def abandon(self) -> None:
        if self._open:
            self.close()
        with contextlib.suppress(OSError):
            self._path.unlink()
