"""Run a kernel over the rows of a picture, by one thread or several, with the same result."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

# Bands never depend on the number of threads: running sums start anew in each, so where they start decides
# the last bit.
BAND = 64


class Rows:
    """A way to run kernels whose last two arguments are the first and the last row (exclusive) to write."""

    def __init__(self, threads: int) -> None:
        self._pool = ThreadPoolExecutor(threads, "rows") if threads > 1 else None

    def __enter__(self) -> Rows:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown()

    def run(self, kernel: Callable[..., Any], height: int, *arguments: Any) -> None:
        """Call ``kernel(*arguments, first, last)`` for every band of ``height`` rows."""
        bands = [(first, min(first + BAND, height)) for first in range(0, height, BAND)]
        if self._pool is None:
            for first, last in bands:
                kernel(*arguments, first, last)
            return
        for done in [self._pool.submit(kernel, *arguments, first, last) for first, last in bands]:
            done.result()
