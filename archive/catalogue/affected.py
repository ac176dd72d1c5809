"""What entries touched, so that only what follows from it is told anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field


@dataclass(kw_only=True)
class Affected:
    """What has to be derived again: rolls and frames, and everything of these cameras and sites, by id.

    ``developed`` are frames that got versions of a recipe, ``marked`` those that something else was said or
    done about which moves them nowhere; ``nights`` pairs of night and camera whose frames came, went or
    changed.
    """

    cameras: set[str] = field(default_factory=set)
    sites: set[str] = field(default_factory=set)
    rolls: set[str] = field(default_factory=set)
    frames: set[str] = field(default_factory=set)
    developed: set[str] = field(default_factory=set)
    marked: set[str] = field(default_factory=set)
    nights: set[tuple[str, str]] = field(default_factory=set)

    def __bool__(self) -> bool:
        return any(vars(self).values())


def chunks(values: Sequence[str], size: int = 500) -> Iterator[Sequence[str]]:
    """Values in pieces that every database takes in one statement."""
    for start in range(0, len(values), size):
        yield values[start : start + size]
