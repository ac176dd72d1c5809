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
    """One immutable journal document; ``id`` is the SHA-256 of its bytes, ``name`` its file name.

    ``newer`` marks one in a format beyond this release: its changes name their subjects and nothing else.
    """

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
    newer: bool = False
    extra: dict[str, Any] = field(default_factory=dict, compare=False)

    @property
    def order(self) -> tuple[int, str]:
        """What decides which of two statements wins; clock and writer never do."""
        return (self.counter, self.id)

    @property
    def understood(self) -> bool:
        """Whether this release knows what it says; one that is not is kept, told, and not counted."""
        return not self.newer and self.kind in KNOWN_KINDS

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
        "pairing",
        "text",
        "line",
        "house-recipe",
        "activity",
        "levelling",
        "query",
        "lens",
    }
)
"""Kinds that this release understands; entries of others are kept, told, and not counted."""
SEALED = "sealed"
"""Layer, in the catalogue only, of subjects that an essential entry of an unknown kind speaks about."""
LEVELLING = "levelling"
"""Layer of stops that are added to the frames of a selection in sets and movies; null takes them back."""
ACTIVITY = "activity"
"""Layer of files of the planetary index that are kept; the subject is the file by its digest."""
LENS = "lens"
"""Layer of the lens that a person says a camera was used with; the line is what its files call it."""
OWN = "recipe"
"""Layer of a frame's own recipe versions."""
SHARED = "recipe-shared"
"""Layer of versions shared by the frames of a selection."""
RECIPE_LAYERS = (OWN, SHARED)
MAIN = "main"
"""The line that every recipe is on unless another is chosen."""
LINE = "line"
"""Layer of the name of the line that speaks for a frame; ``main`` where nothing is stated."""
LINE_NAME = "line-name"
"""Layer of what a frame's line is called now; the line of the statement is the name it was started under."""
RECIPE_NOTE = "recipe-note"
"""Layer of a later note on a version; the subject is the version's entry."""
HOUSE = "house-recipe"
"""Layer of recipes that are kept under a name; null takes one off the list."""
TEXT = "text"
"""Layer of a frame's texts; the line is one of ``TEXTS``, null where there is none."""
TEXTS = ("title", "caption", "note", "creator", "rights")
"""What texts a frame may have; title, caption (description), creator and rights as IPTC defines them."""
SEQUENCE_NUMBER = "sequence-number"
"""Layer of the numbers that a run has, stated about its first frame; every one that was ever given stands."""
PAIRING = "pairing"
"""Layer of the frame that a companion's digest stands for, where the two came in apart; null for none."""
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

    @property
    def when(self) -> str:
        """When it was saved, to the minute, as people read it: in UTC, and saying so."""
        return f"{self.time.replace('T', ' ')[:16]} UTC"
