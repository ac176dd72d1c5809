"""Recipes as people work with them: set, show, look back, compare, reinstate, carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import archive.engine.operators  # noqa: F401 - registers what recipes may name
from archive.catalogue.books import Books
from archive.catalogue.lineage import standings, versions_of
from archive.catalogue.resolve import find, find_one
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.current import heads
from archive.journal.recipes import (
    Standing,
    carry_groups,
    changes_in_words,
    effective,
    masks,
    narrowed,
    save,
    with_values,
)
from archive.model.capture import Frame, Selection
from archive.model.entry import OWN, SHARED, Entry, Version
from archive.model.identity import EntryId, short
from archive.model.listing import HistoryLine
from archive.model.recipe import EffectiveRecipe, Foundation, OperatorValues, Recipe


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What a save did: the entry is None when it would have changed nothing."""

    frame: Frame
    entry: EntryId | None
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What carrying did, or would do: ``masked`` are frames whose own in-sequence values hide some."""

    entry: EntryId | None
    frames: int
    operators: tuple[str, ...]
    masked: tuple[tuple[str, tuple[str, ...]], ...]


class Recipes:
    """The recipes of one archive."""

    def __init__(self, books: Books, foundation: Foundation) -> None:
        self._books = books
        self._foundation = foundation

    def standing(self, frame: Frame) -> Standing:
        return standings(self._books.catalogue, [frame.id])[frame.id]

    def effective(self, frame: Frame, *, in_sequence: bool = False) -> EffectiveRecipe:
        """What a frame is developed with now, and where each part comes from."""
        return effective(self.standing(frame), in_sequence=in_sequence, foundation=self._foundation)

    def set(
        self,
        name: str,
        settings: Sequence[str],
        *,
        drop: Sequence[str] = (),
        in_sequence: bool = False,
        note: str = "",
    ) -> Saved:
        """Save a frame's own new version with these settings (``operator.parameter=value``).

        An operator that was not the frame's own before starts from the value it shares, else neutral.

        Raises
        ------
        UsageError : for an unknown frame, operator or parameter, or a value out of range; all faults at once.
        """
        frame = find_one(self._books.catalogue, name)
        standing = self.standing(frame)
        own = standing.own[0].recipe if standing.own else Recipe(foundation=self._foundation)
        seen = effective(standing, in_sequence=False, foundation=self._foundation)
        start = {step.name: step for step in seen.base}
        steps = _parsed(settings, start)
        absent = [name for name in drop if own.operator(name) is None]
        if absent:
            raise UsageError(
                f"{shown(absent[0])} is not in this frame's own recipe.",
                hint="Nothing was changed. `noctuary recipe show FRAME --why` tells where values come from.",
            )
        recipe = with_values(own, steps, drop=drop)
        return self._save(frame, standing, recipe, in_sequence=in_sequence, note=note)

    def _save(
        self, frame: Frame, standing: Standing, recipe: Recipe, *, in_sequence: bool, note: str
    ) -> Saved:
        draft = save(standing, recipe, in_sequence=in_sequence, note=note)
        entry = self._books.state(draft) if draft else None
        before = standing.own[0].recipe if standing.own else None
        words = changes_in_words(before, recipe, operator.describe_change)
        return Saved(frame=frame, entry=entry.id if entry else None, words=tuple(words))

    def history(self, name: str) -> tuple[Frame, list[HistoryLine]]:
        """A frame's versions, own and shared, newest first, each with what it changed."""
        frame = find_one(self._books.catalogue, name)
        versions = versions_of(self._books.catalogue, [frame.id])[frame.id]
        by_entry = {(version.layer, version.entry): version for version in versions}
        current = {
            (version.layer, version.entry)
            for layer in (OWN, SHARED)
            for version in heads(v for v in versions if v.layer == layer)
        }
        lines = []
        for version in reversed(versions):
            before = next(
                (by_entry[version.layer, e] for e in version.builds_on if (version.layer, e) in by_entry),
                None,
            )
            words = changes_in_words(
                before.recipe if before else None, version.recipe, operator.describe_change
            )
            lines.append(
                HistoryLine(
                    version=version,
                    current=(version.layer, version.entry) in current,
                    words=tuple(words),
                )
            )
        return frame, lines

    def changes(self, name: str, older: str, newer: str | None = None) -> tuple[str, ...]:
        """What differs between two versions of a frame, in words; ``newer`` defaults to the current one."""
        frame = find_one(self._books.catalogue, name)
        versions = versions_of(self._books.catalogue, [frame.id])[frame.id]
        first = _version(versions, older)
        if newer is not None:
            second = _version(versions, newer)
        else:
            second = heads(v for v in versions if v.layer == first.layer)[0]
        return tuple(changes_in_words(first.recipe, second.recipe, operator.describe_change))

    def reinstate(self, name: str, version: str) -> Saved:
        """Make an older version's values the frame's own present ones, as a new version.

        Raises
        ------
        UsageError : when no version of the frame has that id.
        """
        frame = find_one(self._books.catalogue, name)
        versions = versions_of(self._books.catalogue, [frame.id])[frame.id]
        older = _version(versions, version)
        return self._save(
            frame,
            self.standing(frame),
            older.recipe,
            in_sequence=older.in_sequence and older.layer == OWN,
            note=f"reinstated {short(older.entry)}",
        )

    def carry(
        self,
        name: str,
        to: str,
        *,
        only: Sequence[str] = (),
        leave: Sequence[str] = (),
        dry_run: bool = False,
        note: str = "",
    ) -> Carried:
        """Carry a frame's recipe to a sequence or other frames, as their shared version, in one entry.

        Raises
        ------
        UsageError : when the frame has no recipe, or an operator is named that it does not have.
        """
        frame = find_one(self._books.catalogue, name)
        seen = self.effective(frame)
        if not seen.base:
            raise UsageError(
                f"{shown(frame.name)} has no recipe to carry.",
                hint="Nothing was changed. Give it one with `noctuary recipe set`.",
            )
        present = {step.name for step in seen.base}
        unknown = [word for word in (*only, *leave) if word not in present]
        if unknown:
            raise UsageError(
                f"{shown(unknown[0])} is not in the recipe of {shown(frame.name)}.",
                hint=f"Nothing was changed. It has: {', '.join(sorted(present))}.",
            )
        target = find(self._books.catalogue, to).frames
        steps = narrowed(seen.base, only=only, leave=leave)
        standing = standings(self._books.catalogue, [each.id for each in target])
        groups = _groups(target, standing, steps, seen.foundation, whole=not (only or leave))
        draft = carry_groups(groups, {f: s.shared for f, s in standing.items()}, note=note)
        entry: Entry | None = None
        if draft is not None and not dry_run:
            entry = self._books.state(draft)
        carried = Recipe(foundation=seen.foundation, base=steps)
        masked = [(each.name, tuple(masks(standing[each.id], carried))) for each in target]
        return Carried(
            entry=entry.id if entry else None,
            frames=len(target),
            operators=tuple(step.name for step in steps),
            masked=tuple((who, what) for who, what in masked if what),
        )


def _groups(
    target: Sequence[Frame],
    standing: dict[str, Standing],
    steps: Sequence[OperatorValues],
    foundation: Foundation,
    *,
    whole: bool,
) -> list[tuple[Selection, Recipe]]:
    """Frames that end with the same shared recipe, in one selection each.

    A whole recipe replaces what is shared; a part of one is laid over it, which may differ among frames.
    """
    ends: dict[str, tuple[Recipe, list[Frame]]] = {}
    for frame in target:
        shared = standing[frame.id].shared
        if whole or not shared:
            key, recipe = "", Recipe(foundation=foundation, base=tuple(steps))
        else:
            key, recipe = shared[0].entry, with_values(shared[0].recipe, steps)
        ends.setdefault(key, (recipe, []))[1].append(frame)
    return [(selection_from(frames), recipe) for recipe, frames in ends.values()]


def selection_from(frames: Sequence[Frame]) -> Selection:
    """These frames in order, with their times as they are known now."""
    start = frames[0].taken
    return Selection(
        frames=tuple(frame.id for frame in frames),
        milliseconds=tuple(round((frame.taken - start).total_seconds() * 1000) for frame in frames),
    )


def _parsed(settings: Sequence[str], start: dict[str, OperatorValues]) -> list[OperatorValues]:
    """Operators with the settings laid over where they start; all faults told together."""
    wanted: dict[str, dict[str, float | int | str | bool]] = {}
    faults = []
    for setting in settings:
        target, equals, text = setting.partition("=")
        try:
            if not equals:
                raise UsageError(f"{shown(setting)} is no setting: write operator.parameter=value.")
            name, parameter, value = operator.parse_setting(target.strip(), text.strip())
            wanted.setdefault(name, {})[parameter] = value
        except UsageError as error:
            faults.append(error)
    steps = []
    for name, values in wanted.items():
        try:
            before = start.get(name)
            steps.append(operator.changed(before, values) if before else operator.checked(name, values))
        except UsageError as error:
            faults.append(error)
    if faults:
        text = " ".join(error.message for error in faults)
        hint = next((error.hint for error in faults if error.hint), "`noctuary operators` lists them.")
        raise UsageError(text, hint=hint)
    return steps


def _version(versions: Sequence[Version], start: str) -> Version:
    digits = start.removeprefix("sha256:")
    found = [v for v in versions if digits and v.entry.removeprefix("sha256:").startswith(digits)]
    if len({version.entry for version in found}) != 1:
        many = "names several versions" if found else "is no version of this frame"
        raise UsageError(
            f"{shown(start)} {many}.",
            hint="Nothing was changed. `noctuary recipe history FRAME` lists them with their ids.",
        )
    return found[0]
