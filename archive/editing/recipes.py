"""Recipes as people work with them: set, show, look back, reinstate, carry; and what is apart from these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from archive.catalogue.books import Books
from archive.editing.bench import (
    NOTHING,
    Bench,
    finish_speaking,
    masked_frames,
    plain_recipe,
    version_named,
)
from archive.editing.explaining import Explaining
from archive.editing.finish import Finish
from archive.editing.history import History
from archive.editing.house import House
from archive.editing.lines import Lines
from archive.editing.ramps import Ramps
from archive.editing.renewing import Renewing
from archive.editing.settings import chosen, parsed
from archive.editing.settling import Settling
from archive.errors import UsageError, shown
from archive.journal.recipes import Standing, narrowed, with_values
from archive.journal.sharing import ChangeRecipe, elsewhere
from archive.model.capture import Frame
from archive.model.editing import Carried, Comparison, Saved, Source
from archive.model.entry import Version
from archive.model.identity import short
from archive.model.listing import HistoryLine
from archive.model.recipe import FINISH, EffectiveRecipe, Foundation, OperatorValues, Ramp, Recipe

if TYPE_CHECKING:
    from archive.editing.comparing import DarkOf


class Recipes:
    """The recipes of one archive.

    ``ramps``, ``lines``, ``finish``, ``house``, ``contests`` and ``renewing`` have what belongs to these
    alone.
    """

    def __init__(self, books: Books, foundation: Foundation) -> None:
        self.bench = Bench(books=books, foundation=foundation)
        self.lines = Lines(self.bench)
        self.finish = Finish(self.bench)
        self.ramps = Ramps(self.bench)
        self.house = House(self.bench)
        self.contests = Settling(self.bench)
        self.renewing = Renewing(self.bench)

    @cached_property
    def _history(self) -> History:
        return History(self.bench)

    def standing(self, frame: Frame) -> Standing:
        return self.bench.standing(frame)

    def effective(self, frame: Frame, *, in_sequence: bool = False) -> EffectiveRecipe:
        """What a frame is developed with now, and where each part comes from."""
        return self.bench.effective(self.standing(frame), in_sequence=in_sequence)

    def why(self, frame: Frame, *, in_sequence: bool = False) -> list[Source]:
        """Where each part of a frame's effective recipe comes from, and what is not applied."""
        return Explaining(self.bench).why(frame, in_sequence=in_sequence)

    def set(
        self,
        name: str,
        settings: Sequence[str],
        *,
        drop: Sequence[str] = (),
        in_sequence: bool | None = None,
        shared: bool = False,
        note: str = "",
    ) -> Saved:
        """Save a frame's own new version with these settings (``operator.parameter=value``).

        An operator that was not the frame's own before starts from the value it shares, else neutral.
        With ``shared``, what the named frames share is changed instead; a ramp of a parameter that is set
        ends there. Whether an own version counts in sets and movies stays as it was unless it is said.

        Raises
        ------
        UsageError : for an unknown frame, operator or parameter, or a value out of range; all faults at once.
        """
        if shared:
            return self._set_shared(name, settings, drop=drop, note=note)
        frame = self.bench.one(name)
        standing = self.standing(frame)
        own = self.bench.own_recipe(standing)
        start = {step.name: step for step in self.bench.effective(standing).base}
        steps = parsed(settings, start)
        _refuse_absent(drop, own)
        recipe = with_values(own, steps, drop=drop)
        return self.bench.save_own(frame, standing, recipe, in_sequence=in_sequence, note=note)

    def _set_shared(self, name: str, settings: Sequence[str], *, drop: Sequence[str], note: str) -> Saved:
        frames = self.bench.several(name)
        named = {setting.partition("=")[0].strip() for setting in settings}

        def change(before: Recipe | None, _version: Version | None) -> Recipe:
            recipe = before or Recipe(foundation=self.bench.foundation)
            steps = parsed(settings, {step.name: step for step in recipe.base})
            _refuse_absent(drop, recipe)
            recipe = replace(recipe, ramps=tuple(r for r in recipe.ramps if r.parameter not in named))
            return with_values(recipe, steps, drop=drop)

        return self.bench.share(frames, change, note=note)

    def history(self, name: str, *, line: str | None = None) -> tuple[Frame, list[HistoryLine]]:
        """A frame's versions, own and shared, newest first, each with what it changed; of one line, if named.

        Raises
        ------
        UsageError : for an unknown frame, or a line that it does not have.
        """
        return self._history.of(name, line=self.lines.key_of(name, line) if line else None)

    def changes(self, name: str, older: str, newer: str | None = None) -> tuple[str, ...]:
        """What differs between two versions of a frame, in words; ``newer`` defaults to the current one."""
        return self._history.changes(name, older, newer)

    def note(self, name: str, version: str, text: str) -> Saved:
        """Put a note on a version that was saved before; an empty one takes it off."""
        return self._history.note(name, version, text)

    def reinstate(self, name: str, version: str, *, shared: bool = False) -> Saved:
        """Make an older version's values the frame's own present ones, as a new version.

        With ``shared``, the frames named share again what they shared by that version, ramps and all.

        Raises
        ------
        UsageError : when no version of the frames has that id.
        """
        if shared:
            frames = self.bench.several(name)
            parts = self._history.shared_version(frames, version)
            along = {name: s for older, _ in parts for name, s in self._history.along(older).items()}
            note = f"reinstated {short(parts[0][0].entry)}"
            return self.bench.share_parts(
                [(members, _always(elsewhere(older))) for older, members in parts], note=note, along=along
            )
        frame = self.bench.one(name)
        older = version_named(self._history.versions(frame), version)
        standing = self.standing(frame)
        older_standing = replace(standing, selections=self._history.along(older))
        return self.bench.save_own(
            frame,
            standing,
            plain_recipe(older, older_standing),
            in_sequence=older.in_sequence and older.selection is None,
            note=f"reinstated {short(older.entry)}",
        )

    def compare(
        self,
        name: str,
        first: str,
        second: str = "now",
        *,
        to: Path | None = None,
        size: int = 900,
        dark: DarkOf = lambda _decoder, _recipe: None,
    ) -> Comparison:
        """How two states of a frame differ, developed at ``size`` pixels, in figures and words.

        A state is ``now``, ``plain``, the start of a version's id, a line or a house recipe. With ``to``, a
        sheet of both pictures and the map of their difference is written there (JPEG or PNG). ``dark``
        makes the master of the dark frames that a recipe names.

        Raises
        ------
        UsageError : for a state that is none, a size out of range, or a file that is there already.
        ArchiveError : when the master cannot be developed, or ``dark`` makes no master that is needed.
        """
        # Loaded on first use: edits and listings need no pictures.
        from archive.editing.comparing import NOW, compare

        found = compare(self.bench, name, first, second, to=to, size=size, dark=dark)
        contested = NOW in (first, second) and self.standing(self.bench.one(name)).contested
        return replace(found, contested=contested)

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

        ``only`` and ``leave`` name operators, families, or ``finish``. A ramp that the frame shares with
        those it is carried to goes on there; everything else becomes the values that the frame has.

        Raises
        ------
        UsageError : when the frame has no recipe, or an operator is named that it does not have.
        """
        frame = self.bench.one(name)
        standing = self.standing(frame)
        seen = self.bench.effective(standing)
        finish = finish_speaking(standing)
        present = Recipe(foundation=seen.foundation, base=seen.base, finish=finish).parts
        if not present:
            raise UsageError(
                f"{shown(frame.name)} has no recipe to carry.",
                hint=f"{NOTHING} Give it one with `noctuary recipe set`.",
            )
        only, leave = chosen(only, present, frame.name), chosen(leave, present, frame.name)
        steps = narrowed(seen.base, only=only, leave=leave)
        if (only and FINISH not in only) or FINISH in leave:
            finish = None
        target = self.bench.several(to)
        source = standing.shared[0] if standing.shared else None
        kept = [] if source is None else [r for r in source.recipe.ramps if _stays(r, steps, standing)]
        ended: dict[str, None] = {}
        whole = not (only or leave)

        def change(before: Recipe | None, version: Version | None) -> Recipe:
            recipe = Recipe(foundation=seen.foundation) if whole or before is None else before
            alike = source is not None and version is not None and version.entry == source.entry
            staying = {r.parameter: r for r in kept} if alike and before is not None else {}
            ramps = [*(before.ramps if before else ())]
            carried = {step.name for step in steps}
            for ramp in ramps:
                if (whole or _owner(ramp) in carried) and ramp.parameter not in staying:
                    ended[ramp.parameter] = None
            going = [r for r in ramps if r.parameter in staying or not (whole or _owner(r) in carried)]
            made = with_values(replace(recipe, ramps=()), steps)
            if alike and before is not None:
                made = with_values(made, [_unramped(step, before, staying) for step in steps])
            made = replace(made, ramps=tuple(going))
            return made if finish is None else replace(made, finish=finish)

        saved = self.bench.share(target, change, note=note, carried_from=frame, dry_run=dry_run)
        carried = Recipe(foundation=seen.foundation, base=steps, finish=finish)
        standings = self.bench.standings(target)
        masked, masked_stills = masked_frames(
            ((each.name, standings[each.id], carried.parts) for each in target), source=frame.id
        )
        return Carried(
            entry=saved.entry,
            frames=len(target),
            operators=carried.parts,
            masked=masked,
            masked_stills=masked_stills,
            settled=saved.settled,
            ramps_kept=tuple(ramp.parameter for ramp in kept if ramp.parameter not in ended),
            ramps_ended=tuple(ended),
        )


def _always(recipe: Recipe) -> ChangeRecipe:
    return lambda _before, _version: recipe


def _refuse_absent(drop: Sequence[str], recipe: Recipe) -> None:
    absent = [name for name in drop if recipe.operator(name) is None]
    if absent:
        raise UsageError(
            f"{shown(absent[0])} is not in this frame's own recipe.",
            hint=f"{NOTHING} `noctuary recipe show FRAME --why` tells where values come from.",
        )


def _stays(ramp: Ramp, steps: Sequence[OperatorValues], standing: Standing) -> bool:
    """Whether a ramp of the shared version is what speaks for the frame, and is carried."""
    name = _owner(ramp)
    own = standing.own[0].recipe.operator(name) if standing.own else None
    return own is None and any(step.name == name for step in steps)


def _owner(ramp: Ramp) -> str:
    return ramp.parameter.partition(".")[0]


def _unramped(step: OperatorValues, before: Recipe, staying: dict[str, Ramp]) -> OperatorValues:
    """A step as the shared version stores it: under a ramp that stays, the value is the stored one."""
    held = before.operator(step.name)
    names = [p.partition(".")[2] for p in staying if p.partition(".")[0] == step.name]
    if held is None or not names:
        return step
    return replace(step, values={**step.values, **{name: held.values[name] for name in names}})
