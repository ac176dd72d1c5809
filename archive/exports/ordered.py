"""Several things worked on at once, answered in order, with bounded memory."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_order(
    items: Iterable[Item], work: Callable[[Item], Result], threads: int
) -> Iterator[tuple[Item, Callable[[], Result]]]:
    """Each item with a call that gives its result, or raises what its work raised.

    At most two results a thread wait to be taken.
    """
    pending: deque[tuple[Item, Future[Result]]] = deque()
    with ThreadPoolExecutor(threads) as pool:
        try:
            for item in items:
                pending.append((item, pool.submit(work, item)))
                if len(pending) > 2 * threads:
                    first, future = pending.popleft()
                    yield first, future.result
            while pending:
                first, future = pending.popleft()
                yield first, future.result
        finally:
            for _, future in pending:
                future.cancel()


def default_threads() -> int:
    """The processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
