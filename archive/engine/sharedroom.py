"""Memory that two processes both see, for what is too large to be squeezed through a pipe.

It is an anonymous file in memory (Linux), which takes no room in ``/dev/shm``: that is small in many
containers. It is only ever read and written, never mapped, so that a process that cuts it short can cause a
short reading and nothing worse. Where there is none, everything goes through the pipe.
"""

from __future__ import annotations

import os


class SharedRoom:
    """A file in memory, known by its descriptor; closing it in both processes frees it."""

    def __init__(self, descriptor: int) -> None:
        self.descriptor = descriptor

    @staticmethod
    def made() -> SharedRoom | None:
        """A new one; None where the system has none or gives none."""
        create = getattr(os, "memfd_create", None)
        if create is None:
            return None
        try:
            return SharedRoom(create("noctuary-frame"))
        except OSError:
            return None

    def close(self) -> None:
        os.close(self.descriptor)

    def write(self, offset: int, data: memoryview) -> bool:
        """Put bytes at a place; False when there is no memory for them."""
        written = 0
        try:
            while written < len(data):
                written += os.pwrite(self.descriptor, data[written:], offset + written)
        except OSError:
            return False
        return True

    def read(self, offset: int, size: int) -> bytes:
        """Bytes from a place on.

        Raises
        ------
        EOFError : there are fewer.
        """
        found = os.pread(self.descriptor, size, offset)
        while len(found) < size:
            more = os.pread(self.descriptor, size - len(found), offset + len(found))
            if not more:
                raise EOFError("the shared memory ended inside a message")
            found += more
        return found

    def read_into(self, offset: int, target: memoryview) -> None:
        """Fill bytes from a place on.

        Raises
        ------
        EOFError : there are too few.
        """
        filled = 0
        while filled < len(target):
            got = os.preadv(self.descriptor, [target[filled:]], offset + filled)
            if not got:
                raise EOFError("the shared memory ended inside a message")
            filled += got
