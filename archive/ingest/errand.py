"""One file to be brought to volumes, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from archive.model.identity import FrameId
from archive.store.ports import Grade

_WEAKEST = (Grade.CACHED, Grade.EVICTED, Grade.DIRECT)


@dataclass(kw_only=True, eq=False)
class Errand:
    """A file that is to lie at ``target`` on the volumes with the ids ``wanted``.

    ``source`` is where the card has it, None where no card does; ``size`` in bytes; ``digest`` is None until
    it was read, if it is not known beforehand. ``proven`` has, by volume id, how close its read-back
    came: an entry there is an acknowledgement, made only once bytes and name are durable. ``copied`` says
    that it was written in this run, not only found. ``fault`` is why the card did not give it, ``clash`` the
    names of volumes that hold other bytes at ``target``. A ``fresh`` one belongs to a roll that was planned
    just now: nothing of it can lie anywhere yet. ``ingest`` is the id of the unfinished one that planned it.

    A ``left`` one was planned by an earlier run and is not on this card: what lies of it is proven as it is,
    by volume id in ``found``, and nothing is copied.
    """

    source: Path | None
    name: str
    target: str
    size: int
    modified_ns: int
    wanted: frozenset[str]
    fresh: bool = False
    left: bool = False
    ingest: str | None = None
    digest: FrameId | None = None
    proven: dict[str, Grade] = field(default_factory=dict)
    found: dict[str, FrameId] = field(default_factory=dict)
    copied: bool = False
    fault: str | None = None
    clash: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        return self.digest is not None and self.fault is None and not self.clash


def weaker(one: Grade | None, other: Grade) -> Grade:
    """The weaker of two grades, the one that counts for both files."""
    return other if one is None else min(one, other, key=_WEAKEST.index)


def weakest(grades: Iterable[Grade]) -> Grade | None:
    """The weakest of any number of grades; None of none."""
    return min(grades, key=_WEAKEST.index, default=None)
