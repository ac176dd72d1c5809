"""Memory that two processes both see, for what is too large to be squeezed through a pipe.

It is an anonymous file in memory (Linux), which takes no room in ``/dev/shm``: that is small in many
containers. It is sealed so that neither process can cut it short under the other, and its memory is taken
before it is written: what is mapped is always there. Where there is none, everything goes through the pipe.
"""

from __future__ import annotations

import mmap
import os

import numpy as np

try:
    import fcntl
except ImportError:  # Windows, which has no such files either.
    fcntl = None  # type: ignore[assignment]


class SharedRoom:
    """A file in memory, known by its descriptor; closing it in both processes frees it.

    It stays mapped, because mapping a frame anew costs as much as copying it.
    """

    def __init__(self, descriptor: int) -> None:
        self.descriptor = descriptor
        self._map: mmap.mmap | None = None
        # Bytes whose memory was taken already: it stays, since nobody can cut the file short.
        self._taken = 0

    @staticmethod
    def made() -> SharedRoom | None:
        """A new one; None where the system has none or gives none."""
        create = getattr(os, "memfd_create", None)
        if create is None or fcntl is None:
            return None
        try:
            room = SharedRoom(create("noctuary-frame", os.MFD_CLOEXEC | os.MFD_ALLOW_SEALING))
        except OSError:
            return None
        try:
            fcntl.fcntl(room.descriptor, fcntl.F_ADD_SEALS, fcntl.F_SEAL_SHRINK)
        except OSError:
            room.close()
            return None
        return room

    def close(self) -> None:
        self._map = None
        os.close(self.descriptor)

    def write(self, offset: int, data: memoryview) -> bool:
        """Put bytes at a place; False when there is no memory for them."""
        end = offset + max(1, len(data))
        try:
            if end > self._taken:
                os.posix_fallocate(self.descriptor, self._taken, end - self._taken)
                self._taken = end
            target = self._mapped(offset, len(data))
        except (OSError, ValueError):
            return False
        np.frombuffer(target, np.uint8)[:] = np.frombuffer(data, np.uint8)
        return True

    def read(self, offset: int, size: int) -> bytes:
        """Bytes from a place on.

        Raises
        ------
        EOFError : there are fewer.
        """
        return bytes(self._mapped(offset, size))

    def read_into(self, offset: int, target: memoryview) -> None:
        """Fill bytes from a place on.

        Raises
        ------
        EOFError : there are too few.
        """
        source = self._mapped(offset, len(target))
        np.frombuffer(target, np.uint8)[:] = np.frombuffer(source, np.uint8)

    def _mapped(self, offset: int, size: int) -> memoryview:
        """A part of the room.

        Raises
        ------
        EOFError : it ends before.
        """
        end = offset + size
        if self._map is None or len(self._map) < end:
            there = os.fstat(self.descriptor).st_size
            if there < max(1, end):
                raise EOFError("the shared memory ended inside a message")
            self._map = mmap.mmap(self.descriptor, there)
        return memoryview(self._map)[offset:end]
