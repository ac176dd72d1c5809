"""Run kernels over the rows of a picture, by one thread or several, with the same result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from itertools import count
from typing import Any

Kernel = Callable[..., Any]
Step = tuple[Kernel, tuple[Any, ...]]

# Rows a kernel is called for at once, at most. No kernel may let its result depend on it.
BAND = 64
# Floats of one band of three planes that stay near a core between the kernels of a chain.
_NEAR = 160_000
_SHORTEST = 8


class Rows:
    """A way to run kernels whose last two arguments are the first and the last row (exclusive) to write.

    ``band`` is the number of rows at a time; it is for tests, which must find the same picture with any.
    """

    def __init__(self, threads: int, *, band: int | None = None) -> None:
        # The thread that asks does its share of the work.
        self._helpers = max(0, threads - 1)
        self._pool = ThreadPoolExecutor(self._helpers, "rows") if self._helpers else None
        self._band = band

    def __enter__(self) -> Rows:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown()

    def run(self, kernel: Kernel, height: int, *arguments: Any) -> None:
        """Call ``kernel(*arguments, first, last)`` for every band of ``height`` rows."""
        threads = self._helpers + 1
        turns = -(-height // (BAND * threads))
        # As many bands as threads can share evenly.
        band = -(-height // max(1, turns * threads))
        self._each([(kernel, arguments)], height, self._band or max(band, 1))

    def chain(self, steps: Sequence[Step], height: int, width: int) -> None:
        """Call several kernels one after the other for each band, while the band is still in the cache.

        A step may read from what earlier steps wrote only the rows it is called for.
        """
        if steps:
            near = max(_SHORTEST, min(BAND, _NEAR // max(3 * width, 1)))
            self._each(steps, height, self._band or near)

    def _each(self, steps: Sequence[Step], height: int, band: int) -> None:
        bands = -(-height // band)
        turn = count()

        def work() -> None:
            while (number := next(turn)) < bands:
                first = number * band
                last = min(first + band, height)
                for kernel, arguments in steps:
                    kernel(*arguments, first, last)

        # Asked once each, not once for each band: asking costs as much as a short band.
        wanted = min(self._helpers, bands - 1)
        helping = [self._pool.submit(work) for _ in range(wanted)] if self._pool is not None else []
        try:
            work()
        finally:
            begun = [each for each in helping if not each.cancel()]
            wait(begun)
        for each in begun:
            each.result()
