"""The blocks that a card's bytes pass through: a fixed number, so that no slow volume fills the memory."""

from __future__ import annotations

import threading
from collections import deque

BLOCK = 1 << 20
BLOCKS = 48
"""All cards of one run share this many blocks: 48 MiB, whatever the number and speed of the volumes."""


class Block:
    """Bytes on their way to several volumes; given back to its pool when the last of them has let go."""

    def __init__(self, pool: Pool, size: int) -> None:
        self.memory = memoryview(bytearray(size))
        self.size = 0
        self._pool = pool
        self._holders = 0

    @property
    def bytes(self) -> memoryview:
        return self.memory[: self.size]

    def hold(self, holders: int) -> None:
        """So many will each call :meth:`release` once."""
        self._holders = holders
        if not holders:
            self._pool.give_back(self)

    def release(self) -> None:
        with self._pool.changed:
            self._holders -= 1
            last = self._holders == 0
        if last:
            self._pool.give_back(self)


class Pool:
    """A fixed number of blocks."""

    def __init__(self, blocks: int = BLOCKS, size: int = BLOCK) -> None:
        self.changed = threading.Condition()
        self._size = size
        self._left = max(blocks, 2)
        self._free: deque[Block] = deque()

    def take(self) -> Block:
        """A block that no one holds; waits for one."""
        with self.changed:
            while not self._free:
                if self._left:
                    self._left -= 1
                    return Block(self, self._size)
                self.changed.wait()
            # The last one given back is still warm in the processor's cache.
            return self._free.pop()

    def give_back(self, block: Block) -> None:
        with self.changed:
            self._free.append(block)
            self.changed.notify_all()
