"""Journal entries: what a person, or the program on their behalf, stated once and for good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from archive.model.identity import JSON, EntryId
from archive.model.recipe import Recipe


@dataclass(frozen=True, kw_only=True)
class Change:
    """One statement about some subjects.

    ``subjects`` are typed ids (``xxh128:…`` a frame, ``selection:…``, ``camera:…``, ``site:…``, ``roll:…``,
    ``volume:…``, ``job:…``); ``layer`` names what is stated, ``line`` which of several (a recipe's
    line, a keyword's word); ``builds_on`` the entries it replaces for these subjects.
    """

    subjects: tuple[str, ...]
    layer: str
    value: JSON
    line: str = ""
    builds_on: tuple[EntryId, ...] = ()

    def __post_init__(self) -> None:
        if not self.subjects:
            raise ValueError("a change needs at least one subject")


@dataclass(frozen=True, kw_only=True)
class Draft:
    """An entry before it has a place in the journal."""

    kind: str
    changes: tuple[Change, ...]
    essential: bool = False


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One immutable journal document; ``id`` is the SHA-256 of its bytes, ``name`` its file name."""

    id: EntryId
    name: str
    kind: str
    counter: int
    time: str
    writer: str
    previous: EntryId | None
    person: str
    changes: tuple[Change, ...]
    essential: bool = False
    extra: dict[str, Any] = field(default_factory=dict, compare=False)

    @property
    def order(self) -> tuple[int, str]:
        """What decides which of two statements wins; clock and writer never do."""
        return (self.counter, self.id)

    def about(self, layer: str) -> Iterator[Change]:
        return (change for change in self.changes if change.layer == layer)


KNOWN_KINDS = frozenset(
    {
        "site",
        "camera",
        "volume",
        "ingest",
        "clock",
        "facts",
        "sequence",
        "rating",
        "keywords",
        "recipe",
        "job-started",
        "job-delivered",
        "job-ended",
        "audit",
    }
)
"""Kinds that this release understands; entries of others are kept, told, and not counted."""
SEALED = "sealed"
"""Layer, in the catalogue only, of subjects that an essential entry of an unknown kind speaks about."""
OWN = "recipe"
"""Layer of a frame's own recipe versions."""
SHARED = "recipe-shared"
"""Layer of versions shared by the frames of a selection."""
RECIPE_LAYERS = (OWN, SHARED)
SELECTION = "selection"
"""Layer in which a selection's frames are listed, in every entry that speaks about it."""


@dataclass(frozen=True, kw_only=True)
class Version:
    """One saved state of a recipe, as it applies to one frame.

    ``in_sequence`` lets a frame's own version into frame sets and movies; ``selection`` is set for
    shared versions.
    """

    entry: EntryId
    counter: int
    time: str
    person: str
    frame: str
    layer: str
    line: str
    recipe: Recipe
    in_sequence: bool = False
    selection: str | None = None
    note: str = ""
    builds_on: tuple[EntryId, ...] = ()
