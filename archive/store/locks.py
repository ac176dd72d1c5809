"""Locks that the operating system keeps: a program that dies lets go of them; text in them only says who."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from archive.errors import ArchiveError, shown


@contextlib.contextmanager
def held(descriptor: int, purpose: str, waiting: Callable[[], None]) -> Iterator[None]:
    """Hold the lock of an open lock file, and close it; ``waiting`` is called once if another has it.

    Raises
    ------
    ArchiveError : where no lock works.
    """
    # Unbuffered: what a full volume does not take must not be tried again when the file is closed.
    with os.fdopen(descriptor, "r+b", buffering=0) as handle:
        if not _try_lock(handle):
            waiting()
            while not _try_lock(handle):
                time.sleep(0.1)
        try:
            # The lock holds without its text: on a full volume nobody is told for whom they wait.
            with contextlib.suppress(OSError):
                handle.seek(0)
                handle.truncate()
                who = {"purpose": purpose, "host": socket.gethostname(), "process": os.getpid()}
                handle.write(json.dumps(who).encode())
            yield
        finally:
            with contextlib.suppress(OSError):
                handle.truncate(0)
            _unlock(handle)


def holder(path: Path) -> str:
    """Who holds a lock, as far as its text says."""
    try:
        who = json.loads(path.read_bytes() or b"{}")
        return f"{who['purpose']} is running (process {who['process']} on {shown(str(who['host']))})."
    except (OSError, ValueError, KeyError, TypeError):
        return "another Noctuary is at work here."


if os.name == "nt":
    import msvcrt

    def _try_lock(handle: BinaryIO) -> bool:
        try:
            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True

    def _unlock(handle: BinaryIO) -> None:
        handle.seek(0)
        msvcrt.locking(handle.fileno(), msvcrt.LK_UNLCK, 1)  # type: ignore[attr-defined]
else:
    import fcntl

    def _try_lock(handle: BinaryIO) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as error:
            raise ArchiveError(
                f"No lock works on this volume: {error.strerror}.",
                hint="Nothing was changed. Without a lock two programs could write at once; "
                "use a file system with locks.",
            ) from error
        return True

    def _unlock(handle: BinaryIO) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)
