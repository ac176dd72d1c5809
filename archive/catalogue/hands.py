"""Work that asks no database, done by further processes while this one writes, or by this one alone.

Run as ``python -m archive.catalogue.hands``, a process answers what it is asked on its input until that ends.
"""

from __future__ import annotations

import importlib
import marshal
import os
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, Any, TypeVar

Result = TypeVar("Result")
Job = tuple[Any, ...]
_MOST = 4
_ALONE_S = 0.5
"""Work that takes no longer is not worth the start of a process."""


def hands_of_this_machine() -> Hands:
    """As many processes as there is use for: none where only one core is there."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return Hands(min(cores, _MOST) if cores > 1 and sys.executable else 0)


class Hands:
    """So many processes, begun once there is much to do; one that ends before its time is done without."""

    def __init__(self, count: int = 0, alone_s: float = _ALONE_S) -> None:
        self._count = count
        self._alone_until = time.monotonic() + alone_s
        self._hands: list[Hand] = []

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, *_: object) -> None:
        while self._hands:
            self._hands.pop().end()

    def each(self, work: Callable[..., Result], jobs: Iterable[Job]) -> Iterator[Result]:
        """What ``work`` gives for each of these arguments, in their order; a few are worked on ahead.

        ``work`` is a function of a module; its arguments and its result are tuples, lists, dictionaries,
        sets, texts and numbers. What a process cannot do, or did not live to do, is done here.
        """
        given: deque[tuple[Hand, Job]] = deque()
        try:
            for job in jobs:
                if not self._count or (not given and time.monotonic() < self._alone_until):
                    yield work(*job)
                    continue
                if len(given) < self._count:
                    hand = self._hand(len(given))
                    hand.give(work, job)
                    given.append((hand, job))
                    continue
                hand, earlier = given.popleft()
                answer = hand.take()
                # The next job first: it is worked on while this answer is made use of.
                hand.give(work, job)
                given.append((hand, job))
                yield work(*earlier) if answer is None else answer[0]
            while given:
                hand, earlier = given.popleft()
                answer = hand.take()
                yield work(*earlier) if answer is None else answer[0]
        finally:
            for hand, _ in given:
                # Nobody took its answer, which would be taken for that of another job.
                hand.end()

    def _hand(self, number: int) -> Hand:
        if number == len(self._hands):
            self._hands.append(Hand())
        return self._hands[number]


class Hand:
    """One process and the pipes to it; after its end it answers nothing."""

    def __init__(self) -> None:
        roots = [str(Path(__file__).parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
        self._asked = False
        self.process: subprocess.Popen[bytes] | None = None
        try:
            self.process = subprocess.Popen(
                [sys.executable, "-P", "-m", "archive.catalogue.hands"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(roots)},
                # Ctrl-C is for the parent to answer; a hand ends when its pipe does.
                start_new_session=True,
            )  # fmt: skip
        except OSError:
            # As well there may be no room for another process: then it is all done by this one.
            return

    def give(self, work: Callable[..., Any], job: Job) -> None:
        """Have it begin; no other job is given to it before its answer is taken."""
        self._asked = False
        if self.process is None or self.process.stdin is None:
            return
        try:
            message = marshal.dumps((work.__module__, work.__name__, job))
        except ValueError:
            return
        try:
            _send(self.process.stdin, message)
            self._asked = True
        except OSError:
            self.end()

    def take(self) -> tuple[Any] | None:
        """What became of the job, as a tuple of one; None where this process gives no answer."""
        if not self._asked or self.process is None or self.process.stdout is None:
            return None
        try:
            answer: tuple[Any] | None = marshal.loads(_receive(self.process.stdout))
        except (OSError, EOFError, ValueError):
            self.end()
            return None
        return answer

    def end(self) -> None:
        process, self.process = self.process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            try:
                if pipe is not None:
                    pipe.close()
            except OSError:
                # What it was sent last never arrived.
                continue


def _send(pipe: IO[bytes], message: bytes) -> None:
    pipe.write(len(message).to_bytes(8, "little"))
    pipe.write(message)
    pipe.flush()


def _receive(pipe: IO[bytes]) -> bytes:
    """The next message.

    Raises
    ------
    EOFError : when the other side is gone.
    """
    size = pipe.read(8)
    message = pipe.read(int.from_bytes(size, "little"))
    if not message:
        raise EOFError
    return message


def serve(source: IO[bytes], sink: IO[bytes]) -> None:
    """Answer until the input ends; what fails is left for the parent to do, who can tell of it."""
    while True:
        try:
            module, name, job = marshal.loads(_receive(source))
        except EOFError:
            return
        try:
            answer = marshal.dumps((getattr(importlib.import_module(module), name)(*job),))
        except Exception:
            answer = marshal.dumps(None)
        _send(sink, answer)


if __name__ == "__main__":
    # What a library prints must not come between the answers.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    serve(sys.stdin.buffer, answers)
