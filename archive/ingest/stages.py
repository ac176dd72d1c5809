"""Work that follows other work: in a thread of its own behind a bounded queue, or inline, call by call."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Protocol

Work = Callable[[], None]
_GLANCE_S = 0.2


def wait_for(ended: threading.Event) -> None:
    """Come back when a thread says that it has ended; a Ctrl-C meanwhile is raised, and changes nothing.

    Joining a thread does not do: once such a wait was interrupted, Python 3.11 takes the thread for ended.
    And waiting without end, a Ctrl-C at the very moment the wait begins would not be noticed.
    """
    while not ended.wait(_GLANCE_S):
        pass


class Stage(Protocol):
    """Does pieces of work one after another, in the order they were put."""

    def put(self, work: Work, weight: int = 0) -> None:
        """Hand over a piece; waits while too many or too heavy ones are before it."""
        ...

    def close(self) -> None:
        """Come back when everything put was done; no more may be put."""
        ...


class Inline:
    """Does each piece at once, in the caller: the same steps in one fixed order, for simulators."""

    def put(self, work: Work, weight: int = 0) -> None:
        del weight
        work()

    def close(self) -> None:
        """Nothing: all is done."""


class Threaded:
    """Does the pieces in a thread of its own.

    Parameters
    ----------
    most : pieces that may wait; ``heaviest`` their weight in all (a single heavier one is let through).

    A piece is expected to keep its own errors: one that escapes is given to whoever puts or closes next,
    and what comes after it is still done, so that no one waits for ever for what it would have released.
    """

    def __init__(self, name: str, *, most: int, heaviest: int) -> None:
        self._most = most
        self._heaviest = heaviest
        self._waiting: deque[tuple[Work, int]] = deque()
        self._weight = 0
        self._closing = False
        self._changed = threading.Condition()
        self._error: BaseException | None = None
        self._ended = threading.Event()
        # A daemon: a second Ctrl-C must be able to end the program while a drive hangs.
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def put(self, work: Work, weight: int = 0) -> None:
        with self._changed:
            while self._waiting and (
                len(self._waiting) >= self._most or self._weight + weight > self._heaviest
            ):
                self._changed.wait()
            self._waiting.append((work, weight))
            self._weight += weight
            self._changed.notify_all()
        self._tell()

    def close(self) -> None:
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        wait_for(self._ended)
        self._tell()

    def _tell(self) -> None:
        if self._error is not None:
            error, self._error = self._error, None
            raise error

    def _run(self) -> None:
        try:
            self._work()
        finally:
            self._ended.set()

    def _work(self) -> None:
        while True:
            with self._changed:
                while not self._waiting and not self._closing:
                    self._changed.wait()
                if not self._waiting:
                    return
                work, weight = self._waiting.popleft()
                self._weight -= weight
                self._changed.notify_all()
            try:
                work()
            except BaseException as error:
                self._error = self._error or error


StageMaker = Callable[[str, int, int], Stage]


def threaded(name: str, most: int, heaviest: int) -> Stage:
    return Threaded(name, most=most, heaviest=heaviest)


def inline(_name: str, _most: int, _heaviest: int) -> Stage:
    return Inline()
