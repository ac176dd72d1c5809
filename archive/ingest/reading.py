"""Reading a card's file once, whole: faults are tried again where they struck, changes are noticed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from archive.ingest import opening
from archive.model.identity import FrameId
from archive.store.digest import BLOCK, Digester

_ATTEMPTS = 3


class CardReadError(Exception):
    """The card gave no whole reading of a file; the text says why."""


class Reading:
    """One file of a card, read from its begin to its end.

    A reading that fails is tried again from where it stood, three times in all; one that the file
    changes under is given up.
    """

    def __init__(self, source: Path) -> None:
        self._source = source
        self._digester = Digester()
        self._tries = 0
        self._stream = self._opened()
        try:
            self._before = self._state()
        except CardReadError:
            self.close()
            raise

    def into(self, buffer: memoryview) -> int:
        """Read the next bytes into ``buffer``; 0 at the end.

        Raises
        ------
        CardReadError : when the card does not give them.
        """
        while True:
            try:
                # ``readinto`` of a raw file answers None only where it would block, which no file does.
                count: int = self._stream.readinto(buffer)  # type: ignore[attr-defined]
            except OSError as error:
                self._failed(error)
                self.close()
                self._stream = self._opened()
                continue
            self._digester.update(buffer[:count])
            return count

    def end(self) -> FrameId:
        """The digest of what was read, once nothing is left.

        Raises
        ------
        CardReadError : when the file changed meanwhile.
        """
        if self._state() != self._before or self._digester.size != self._before[0]:
            raise CardReadError("it changed while it was being read")
        return self._digester.id

    def close(self) -> None:
        # What was read is whole or told already; a dying reader may refuse even this.
        with contextlib.suppress(OSError):
            self._stream.close()

    def _opened(self) -> BinaryIO:
        while True:
            try:
                stream = opening.open_plain(self._source)
            except OSError as error:
                self._failed(error)
                continue
            try:
                stream.seek(self._digester.size)
            except OSError as error:
                with contextlib.suppress(OSError):
                    stream.close()
                self._failed(error)
                continue
            return stream

    def _state(self) -> tuple[int, int, int]:
        while True:
            try:
                found = self._source.stat(follow_symlinks=False)
            except OSError as error:
                self._failed(error)
                continue
            return found.st_size, found.st_mtime_ns, found.st_ino

    def _failed(self, error: OSError) -> None:
        """Let a fault be tried again, unless it has been too often or the file is gone."""
        self._tries += 1
        if self._tries >= _ATTEMPTS or _gone(self._source):
            raise CardReadError(f"cannot be read: {error.strerror or error}") from error


def _gone(source: Path) -> bool:
    """Whether there is no such file any more; a reader that cannot even say so may recover."""
    try:
        source.stat(follow_symlinks=False)
    except (FileNotFoundError, NotADirectoryError):
        return True
    except OSError:
        return False
    return False


def read_digest(path: Path, told: Callable[[int], None] = lambda _count: None) -> FrameId:
    """The digest of a file on the card, from one whole reading.

    Raises
    ------
    CardReadError : when it cannot be read, or changes while being read.
    """
    size = BLOCK
    try:
        size = min(BLOCK, max(path.stat(follow_symlinks=False).st_size, 1))
    except OSError as error:
        raise CardReadError(f"cannot be read: {error.strerror or error}") from error
    buffer = memoryview(bytearray(size))
    reading = Reading(path)
    try:
        while count := reading.into(buffer):
            told(count)
        return reading.end()
    finally:
        reading.close()
