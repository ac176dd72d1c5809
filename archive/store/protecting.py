"""Marking files as not to be written: only the bits that allow writing are taken, the others stay."""

from __future__ import annotations

import errno
import stat as modes
from pathlib import Path

WRITE_BITS = modes.S_IWUSR | modes.S_IWGRP | modes.S_IWOTH
_NO_SUCH_MARK = frozenset((errno.EPERM, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EINVAL))


def protect(path: Path) -> bool:
    """Take the write bits off a file; tells whether it is read-only now.

    FAT and exFAT keep one mark for all, and Linux passes over a change there that would take the right to
    execute as well (from memory of its fs/fat/file.c and fs/exfat/file.c). Where a file system has no such
    mark at all, the file stays as it is.

    Raises
    ------
    OSError : when there is no such file, or its file system is read-only or fails.
    """
    mode = modes.S_IMODE(path.lstat().st_mode)
    if not mode & WRITE_BITS:
        return True
    try:
        path.chmod(mode & ~WRITE_BITS)
    except OSError as error:
        if error.errno not in _NO_SUCH_MARK:
            raise
        return False
    return not path.lstat().st_mode & WRITE_BITS
