"""Run kernels over the rows of a picture, by one thread or several, with the same result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

Kernel = Callable[..., Any]
Step = tuple[Kernel, tuple[Any, ...]]

# Rows a kernel is called for at once. No kernel may let its result depend on it.
BAND = 64
# Floats of one band of three planes that stay near a core between the kernels of a chain.
_NEAR = 160_000
_SHORTEST = 8


class Rows:
    """A way to run kernels whose last two arguments are the first and the last row (exclusive) to write.

    ``band`` is the number of rows at a time; it is for tests, which must find the same picture with any.
    """

    def __init__(self, threads: int, *, band: int | None = None) -> None:
        self._pool = ThreadPoolExecutor(threads, "rows") if threads > 1 else None
        self._band = band

    def __enter__(self) -> Rows:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown()

    def run(self, kernel: Kernel, height: int, *arguments: Any) -> None:
        """Call ``kernel(*arguments, first, last)`` for every band of ``height`` rows."""
        self._each([(kernel, arguments)], height, self._band or BAND)

    def chain(self, steps: Sequence[Step], height: int, width: int) -> None:
        """Call several kernels one after the other for each band, while the band is still in the cache.

        A step may read from what earlier steps wrote only the rows it is called for.
        """
        if steps:
            near = max(_SHORTEST, min(BAND, _NEAR // max(3 * width, 1)))
            self._each(steps, height, self._band or near)

    def _each(self, steps: Sequence[Step], height: int, band: int) -> None:
        def work(first: int) -> None:
            last = min(first + band, height)
            for kernel, arguments in steps:
                kernel(*arguments, first, last)

        starts = range(0, height, band)
        if self._pool is None:
            for first in starts:
                work(first)
            return
        for done in [self._pool.submit(work, first) for first in starts]:
            done.result()
