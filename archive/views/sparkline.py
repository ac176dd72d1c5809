"""Values as a line of small bars."""

from __future__ import annotations

from collections.abc import Sequence

BARS = "▁▂▃▄▅▆▇█"


def sparkline(values: Sequence[float | None], width: int) -> str:
    """A line of eight heights, at most ``width`` bars; each the mean of its part, blank where none is known.

    The least mean is the lowest bar and the greatest the highest; where all are alike, all are the lowest.
    """
    count = min(width, len(values))
    means = [
        mean(values[part * len(values) // count : (part + 1) * len(values) // count]) for part in range(count)
    ]
    known = [value for value in means if value is not None]
    if not known:
        return " " * count
    low, high = min(known), max(known)
    return "".join(" " if value is None else BARS[_height(value, low, high)] for value in means)


def mean(values: Sequence[float | None]) -> float | None:
    """The mean of what is known; None where nothing is."""
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None


def _height(value: float, low: float, high: float) -> int:
    return min(len(BARS) - 1, int((value - low) / (high - low) * len(BARS))) if high > low else 0
