"""Opening a card's file: a plain file or nothing, whatever was put in its place since it was looked at."""

from __future__ import annotations

import errno
import os
import stat as modes
from pathlib import Path
from typing import BinaryIO

_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_BINARY", 0)
    | getattr(os, "O_CLOEXEC", 0)
    # Without it, opening a pipe would wait for a writer that never comes.
    | getattr(os, "O_NONBLOCK", 0)
)


def open_plain(path: Path, *, buffered: bool = False) -> BinaryIO:
    """A plain file to read.

    Raises
    ------
    OSError : when it cannot be opened; also for a link (where the system can refuse one), a folder or a pipe.
    """
    descriptor = os.open(path, _FLAGS)
    try:
        if not modes.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, "not a plain file", str(path))
        stream: BinaryIO = os.fdopen(descriptor, "rb", buffering=-1 if buffered else 0)
        return stream
    except BaseException:
        os.close(descriptor)
        raise
