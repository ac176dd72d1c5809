"""What people decided: one entry by its id, and its statements in words."""

from __future__ import annotations

from collections.abc import Mapping

from archive.catalogue.apply import SET_ASIDE
from archive.catalogue.decided import Heading, headings
from archive.editing.bench import NOTHING, Bench
from archive.errors import ArchiveError, UsageError, counted, shown
from archive.model.entry import (
    HOUSE,
    LINE,
    LINE_NAME,
    OWN,
    RECIPE_LAYERS,
    RECIPE_NOTE,
    SELECTION,
    TEXT,
    Change,
    Entry,
)
from archive.model.identity import short

DECIDED = (
    "rating",
    "keywords",
    "text",
    "recipe",
    "line",
    "house-recipe",
    "sequence",
    "clock",
    "facts",
    "pairing",
    "site",
    "camera",
    "volume",
    "spec",
    "levelling",
    "lens",
    "query",
)
"""Kinds of entries that people decide; all others record what was done."""
NUMBER = "sequence-number"


class Decisions:
    """The decisions of one archive by their ids."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def entry(self, start: str) -> Entry:
        """The entry whose id begins like this.

        Raises
        ------
        UsageError : when there is none, or several.
        """
        return self.read(self._heading(start))

    def read(self, heading: Heading) -> Entry:
        places = self._bench.books.log.places().get(heading.name)
        if places is None:
            raise ArchiveError(
                f"The journal entry {heading.name} is on no mounted volume.",
                hint=f"{NOTHING} Name a volume that holds it with --also.",
            )
        return self._bench.books.log.read(heading.name, places)

    def set_aside(self) -> set[str]:
        """The names of entries that do not count here."""
        faults = self._bench.books.catalogue.faults()
        return {fault.name for fault in faults if fault.place == SET_ASIDE}

    def _heading(self, start: str) -> Heading:
        digits = start.strip().removeprefix("sha256:")
        if len(digits) >= 6 and all(c in "0123456789abcdef" for c in digits):
            found = headings(self._bench.books.catalogue, id_start=digits, limit=2)
            if len(found) == 1:
                return found[0]
            if found:
                raise UsageError(
                    f"{shown(start)} names several entries.", hint=f"{NOTHING} Give more digits."
                )
        raise UsageError(
            f"{shown(start) or 'An empty text'} is no entry of this journal.",
            hint=f"{NOTHING} Give 6 or more digits of its id; `noctuary journal` and "
            "`noctuary recipe history FRAME` list them.",
        )


def change_in_words(change: Change, entry: Entry, names: Mapping[str, str] | None = None) -> str:
    """What one statement says; empty for what only supports others.

    ``names`` are file names of frames, by id: one that has none is told of by the start of its id.
    """
    value, of = change.value, _of(change, names or {})
    if change.layer == SELECTION:
        return ""
    if change.layer in RECIPE_LAYERS:
        return _version(change, entry, of)
    if value is None or value is False or value == "":
        return f"{_named(change)} taken off{of}"
    if change.layer == "keyword":
        return f"keyword {shown(change.line)} given{of}"
    if change.layer == TEXT:
        return f"{shown(change.line)} “{shown(_start(value))}”{of}"
    if change.layer == LINE:
        return f"the line {shown(str(value))} speaks{of}"
    if change.layer == LINE_NAME:
        return f"the line {shown(change.line)} is called {shown(str(value))}{of}"
    if change.layer == RECIPE_NOTE:
        return f"note on version {short(change.subjects[0])}: {shown(_start(value))}"
    if change.layer == HOUSE and isinstance(value, dict):
        return f"house recipe {shown(str(value.get('name', '')))}"
    if isinstance(value, (int, float, str)) and value is not True:
        return f"{_named(change)} {shown(_start(value))}{of}"
    return f"{_named(change)}{of}"


def _version(change: Change, entry: Entry, of: str) -> str:
    line = "" if change.line == "main" else f" on the line {shown(change.line)}"
    if change.layer == OWN:
        return f"recipe{line}{of}"
    frames = sum(
        len(listed.value["frames"])
        for listed in entry.about(SELECTION)
        if set(listed.subjects) & set(change.subjects)
    )
    return f"recipe{line} shared by {counted(frames, 'frame')}"


def _named(change: Change) -> str:
    name = change.layer.replace("-", " ")
    return f"{name} {shown(change.line)}" if change.line and change.layer in ("keyword", TEXT) else name


def _of(change: Change, names: Mapping[str, str]) -> str:
    first = change.subjects[0]
    if not first.startswith("xxh128:"):
        return f" of {shown(first.removeprefix('sha256:')[:40])}"
    count = len(change.subjects)
    if count > 1:
        return f" for {count} frames"
    return f" for {shown(names[first])}" if first in names else f" for frame {short(first)}"


def _start(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else f"{text[:59]}…"
