"""Giving a file its final name without ever replacing another, on each platform's own way."""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from enum import StrEnum
from pathlib import Path
from typing import Protocol

_AT_FDCWD = -100
_RENAME_NOREPLACE = 1
_RENAME_EXCL = 4
_UNSUPPORTED = {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}
_NO_LINKS = {*_UNSUPPORTED, errno.EPERM, errno.EMLINK}


class Naming(StrEnum):
    """How a file gets a name that nothing else has; the first two are safe against every program."""

    RENAME = "exclusive rename"
    LINK = "hard link"
    CLAIM = "under a lock"


class Names(Protocol):
    """The calls of a system that give names."""

    def rename_exclusive(self, source: Path, target: Path) -> bool:
        """True when renamed; False where the system or file system has no such call.

        Raises
        ------
        FileExistsError : when the name is taken.
        """
        ...

    def link(self, source: Path, target: Path) -> None:
        """A second name; FileExistsError if taken, another OSError where there are no hard links."""
        ...

    def taken(self, target: Path) -> bool:
        """Whether anything, a broken link too, has the name."""
        ...

    def rename(self, source: Path, target: Path) -> None:
        """An ordinary rename, which may replace."""
        ...

    def remove(self, source: Path) -> None:
        """Take a name away."""
        ...


def give_name(
    source: Path,
    target: Path,
    *,
    claim: Callable[[], AbstractContextManager[None]],
    names: Names | None = None,
) -> Naming:
    """Rename ``source`` to ``target``, replacing nothing; tells by which way.

    Linux ``renameat2(RENAME_NOREPLACE)``, macOS ``renamex_np(RENAME_EXCL)``, Windows ``rename``; where
    the file system cannot, a hard link and an unlink; where it has no links either (exFAT, some
    shares), a look and a rename while holding ``claim``, a lock that only this program knows.

    Raises
    ------
    FileExistsError : when the name is taken.
    """
    calls = names or SystemNames()
    if calls.rename_exclusive(source, target):
        return Naming.RENAME
    try:
        calls.link(source, target)
    except FileExistsError:
        raise
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
    else:
        calls.remove(source)
        return Naming.LINK
    with claim():
        if calls.taken(target):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target))
        calls.rename(source, target)
    return Naming.CLAIM


class SystemNames:
    """The calls of the system this program runs on."""

    def rename_exclusive(self, source: Path, target: Path) -> bool:
        if os.name == "nt":
            source.rename(target)
            return True
        library = _library()
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

    def link(self, source: Path, target: Path) -> None:
        os.link(source, target, follow_symlinks=False)

    def taken(self, target: Path) -> bool:
        return os.path.lexists(target)

    def rename(self, source: Path, target: Path) -> None:
        source.rename(target)

    def remove(self, source: Path) -> None:
        source.unlink()


def _library() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)
