"""What entries add up to: registers that the greatest (counter, id) wins, and versions that build on others.

The rules are few and order-free, so that any order and interleaving of entries gives the same answer.
The catalogue applies the same statements in SQL; :class:`Fold` applies them in memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from archive.errors import DamagedFileError
from archive.journal.ramps import check_ramps
from archive.model.capture import Selection
from archive.model.entry import (
    OWN,
    RECIPE_LAYERS,
    SELECTION,
    SEQUENCE_NUMBER,
    SHARED,
    Change,
    Entry,
    Version,
)
from archive.model.identity import JSON, EntryId, is_frame_id
from archive.model.recipe import Recipe

_LONGEST_NOTE = 10_000
_LONGEST_MS = 2**53


@dataclass(frozen=True, kw_only=True)
class Statement:
    """One register value that an entry states about one subject."""

    subject: str
    layer: str
    line: str
    counter: int
    entry: EntryId
    value: JSON

    @property
    def order(self) -> tuple[int, str]:
        return (self.counter, self.entry)


def selections(entry: Entry) -> dict[str, Selection]:
    """The selections an entry lists, by id; every entry lists the ones that it speaks about.

    Raises
    ------
    DamagedFileError : when a list does not give the id it is filed under.
    """
    found: dict[str, Selection] = {}
    for change in entry.about(SELECTION):
        try:
            selection = Selection.from_json(change.value)
        except (KeyError, TypeError, ValueError) as error:
            raise _unusable(entry, f"a selection cannot be read ({error})") from error
        if not all(is_frame_id(f) for f in selection.frames) or not all(
            type(ms) is int and abs(ms) <= _LONGEST_MS for ms in selection.milliseconds
        ):
            raise _unusable(entry, "a selection lists what is no frame, or a time that is none")
        if change.subjects != (selection.id,):
            raise _unusable(entry, "a selection's frames do not give its id")
        found[selection.id] = selection
    return found


def statements(entry: Entry) -> Iterator[Statement]:
    """The register statements of an entry, one for each subject; recipes and selections are apart."""
    for change in entry.changes:
        if change.layer in RECIPE_LAYERS or change.layer == SELECTION:
            continue
        for subject in change.subjects:
            yield Statement(
                subject=subject,
                layer=change.layer,
                # Of two numbers given to one run apart neither may be forgotten: each claim stands by itself.
                line=entry.id if change.layer == SEQUENCE_NUMBER else change.line,
                counter=entry.counter,
                entry=entry.id,
                value=change.value,
            )


def versions(entry: Entry, listed: Mapping[str, Selection] | None = None) -> Iterator[Version]:
    """The recipe versions of an entry, one for each frame; a selection counts as its frames.

    ``listed`` spares reading the entry's selections again.

    Raises
    ------
    DamagedFileError : when a recipe cannot be read, or a selection is spoken of but not listed.
    """
    for told in developments(entry, selections(entry) if listed is None else listed):
        for frame in told.frames:
            yield Version(
                entry=entry.id,
                counter=entry.counter,
                time=entry.time,
                person=entry.person,
                frame=frame,
                layer=told.change.layer,
                line=told.change.line,
                recipe=told.recipe,
                in_sequence=told.in_sequence,
                selection=told.selection,
                note=told.note,
                builds_on=told.change.builds_on,
            )


@dataclass(frozen=True, kw_only=True)
class Development:
    """One recipe that a change of an entry gives to frames: those of a selection, or a single one."""

    change: Change
    recipe: Recipe
    in_sequence: bool
    note: str
    selection: str | None
    frames: Sequence[str]


def developments(entry: Entry, listed: Mapping[str, Selection]) -> Iterator[Development]:
    """The recipes of an entry with the frames they are for; ``listed`` are the entry's selections.

    Raises
    ------
    DamagedFileError : as :func:`versions`.
    """
    for change in entry.changes:
        if change.layer not in RECIPE_LAYERS:
            continue
        recipe, in_sequence, note = _recipe(entry, change)
        for subject in change.subjects:
            shared = change.layer == SHARED
            if shared and subject not in listed:
                raise _unusable(entry, "it speaks of a selection that it does not list")
            if not shared and not is_frame_id(subject):
                raise _unusable(entry, "it gives a recipe to something that is no frame")
            try:
                check_ramps(recipe, listed[subject] if shared else None, listed)
            except (TypeError, ValueError, ArithmeticError) as error:
                raise _unusable(entry, f"a ramp cannot be read ({error})") from error
            yield Development(
                change=change,
                recipe=recipe,
                in_sequence=in_sequence,
                note=note,
                selection=subject if shared else None,
                frames=listed[subject].frames if shared else (subject,),
            )


def _recipe(entry: Entry, change: Change) -> tuple[Recipe, bool, str]:
    try:
        value = change.value
        note = str(value["note"])
        if len(note) > _LONGEST_NOTE or "\0" in note:
            raise ValueError("its note is endless, or holds a NUL")
        return Recipe.from_json(value["recipe"]), bool(value["in_sequence"]), note
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise _unusable(entry, f"its recipe cannot be read ({error!r})") from error


def _unusable(entry: Entry, why: str) -> DamagedFileError:
    return DamagedFileError(
        f"The journal entry {entry.name} is whole, but {why}.",
        hint="It was left as it is and set aside; every other entry still counts.",
    )


def heads(candidates: Iterable[Version]) -> list[Version]:
    """The current ones among the versions of one (frame, layer, line), newest first.

    Current are those that no other builds on; more than one means the recipe is contested.
    """
    listed = list(candidates)
    replaced = {older for version in listed for older in version.builds_on}
    current = [version for version in listed if version.entry not in replaced]
    return sorted(current, key=lambda version: (version.counter, version.entry), reverse=True)


class Fold:
    """All entries applied, in memory; ``aside`` says of each that does not count why."""

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self.aside: dict[str, str] = {}
        self.registers: dict[tuple[str, str, str], Statement] = {}
        self.versions: dict[tuple[str, str, str], dict[EntryId, Version]] = {}
        for entry in entries:
            self.apply(entry)

    def apply(self, entry: Entry) -> None:
        """Take one entry in, or nothing of it; again, or in another order, changes nothing."""
        if not entry.understood:
            self.aside[entry.name] = "it was written by a newer release"
            return
        try:
            told = list(versions(entry))
        except DamagedFileError as error:
            self.aside[entry.name] = error.message
            return
        for version in told:
            key = (version.frame, version.layer, version.line)
            self.versions.setdefault(key, {}).setdefault(version.entry, version)
        for statement in statements(entry):
            key = (statement.subject, statement.layer, statement.line)
            held = self.registers.get(key)
            if held is None or statement.order > held.order:
                self.registers[key] = statement

    def value(self, subject: str, layer: str, line: str = "") -> JSON:
        """What is stated now, None if nothing is."""
        held = self.registers.get((subject, layer, line))
        return None if held is None else held.value

    def current(self, frame: str, layer: str = OWN, line: str = "main") -> list[Version]:
        return heads(self.versions.get((frame, layer, line), {}).values())
