"""Which counters count: those that an honest journal can have come to.

Whoever writes an entry takes one more than the greatest counter in any name held, so a journal that grew by
itself has an entry for every counter up to its greatest; only lost ones leave gaps. A name that stands far
above all others was not come to but made up, and must neither decide nor use the counters up.
"""

from __future__ import annotations

from collections.abc import Iterable

LAST = 9_999_999_999
"""The greatest counter that a name can hold."""
STRIDE = 1_000_000
"""The widest gap between two counters that follow each other; above a wider one nothing counts."""


def greatest(counters: Iterable[int]) -> int:
    """The greatest counter that counts; 0 where there is none.

    From 0 upwards, each may stand at most ``STRIDE`` above the one before; the first that stands higher does
    not count, nor does anything above it. What more entries are held, the more may count, never fewer.
    """
    held = set(counters)
    if max(held, default=0) <= STRIDE:
        return max(held, default=0)
    reached = 0
    for counter in sorted(held):
        if counter - reached > STRIDE:
            break
        reached = counter
    return reached
