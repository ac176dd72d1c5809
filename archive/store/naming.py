"""Giving a file its final name without ever replacing another, on each platform's own way."""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from pathlib import Path

_AT_FDCWD = -100
_RENAME_NOREPLACE = 1
_RENAME_EXCL = 4
_UNSUPPORTED = {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}


def rename_exclusive(source: Path, target: Path) -> None:
    """Rename ``source`` to ``target``; FileExistsError if the name is taken, nothing is replaced.

    Linux ``renameat2(RENAME_NOREPLACE)``, macOS ``renamex_np(RENAME_EXCL)``, Windows ``rename``;
    elsewhere, or where the file system cannot, a hard link and an unlink.
    """
    if os.name == "nt":
        source.rename(target)
        return
    if _system_rename(source, target):
        return
    os.link(source, target, follow_symlinks=False)
    source.unlink()


def _system_rename(source: Path, target: Path) -> bool:
    """True when the system renamed it; False when it has no exclusive rename here."""
    library = ctypes.CDLL(None, use_errno=True)
    arguments = os.fsencode(source), os.fsencode(target)
    if sys.platform.startswith("linux") and hasattr(library, "renameat2"):
        done = library.renameat2(_AT_FDCWD, arguments[0], _AT_FDCWD, arguments[1], _RENAME_NOREPLACE)
    elif sys.platform == "darwin" and hasattr(library, "renamex_np"):
        done = library.renamex_np(arguments[0], arguments[1], _RENAME_EXCL)
    else:
        return False
    if done == 0:
        return True
    code = ctypes.get_errno()
    if code in _UNSUPPORTED:
        return False
    raise OSError(code, os.strerror(code), str(source), None, str(target))
