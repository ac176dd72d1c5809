"""Two states of a frame's recipe, developed and compared; apart, because pictures need what edits do not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from archive.catalogue.lineage import standings
from archive.editing.bench import NOTHING, Bench, plain_recipe, version_named
from archive.editing.history import History
from archive.editing.house import House
from archive.editing.lines import Lines
from archive.engine import operator
from archive.engine.comparison import comparison_sheet, difference
from archive.engine.darkframe import MasterDark
from archive.engine.decode import DecoderPool
from archive.engine.output import encoder_for
from archive.engine.pipeline import render
from archive.errors import ArchiveError, UsageError, shown
from archive.journal.current import heads
from archive.model.capture import Frame
from archive.model.editing import CompareRow, Comparison
from archive.model.entry import MAIN, SHARED, Version
from archive.model.identity import short
from archive.model.product import PixelSpec
from archive.model.recipe import FINISH, EffectiveRecipe, OperatorValues, Recipe
from archive.store.targets import check_target, write_target

NOW, PLAIN = "now", "plain"
DarkOf = Callable[[DecoderPool, EffectiveRecipe], MasterDark | None]
"""Gives the master dark of a recipe, None where it names no dark frames."""


@dataclass(frozen=True, kw_only=True)
class _State:
    title: str
    recipe: EffectiveRecipe


def compare(
    bench: Bench,
    name: str,
    first: str,
    second: str,
    *,
    to: Path | None,
    size: int,
    dark: DarkOf,
    threads: int = 2,
) -> Comparison:
    """How two states of a frame differ, in figures and words; with ``to``, a sheet of both and their map.

    A state is ``now``, ``plain`` (no recipe at all), the start of a version's id, a line's name, or a
    house recipe's name. An own version lies over what was shared when it was saved, and its title names both.
    ``dark`` gives the master of the dark frames that a state's recipe names.

    Raises
    ------
    UsageError : for a state that is none, a size out of range, or a file name that is no picture's or taken.
    ArchiveError : when the master cannot be developed, or no file may lie there.
    """
    if not 100 <= size <= 4000:
        raise UsageError(f"size: {size} px is outside 100 to 4000 px.", hint="Nothing was made.")
    encode = encoder_for(to.name) if to is not None else None
    if to is not None:
        check_target(to)
    frame = bench.one(name)
    states = [_state(bench, frame, text) for text in (first, second)]
    pictures = _developed(bench, frame, [state.recipe for state in states], size, dark, threads)
    found = difference(pictures[0], pictures[1])
    if to is not None and encode is not None:
        sheet = comparison_sheet(pictures[0], pictures[1], found, (states[0].title, states[1].title))
        write_target(to, encode(sheet))
    height, width = pictures[0].shape[:2]
    return Comparison(
        frame=frame.name,
        first=states[0].title,
        second=states[1].title,
        width=width,
        height=height,
        mean=found.mean,
        largest=found.largest,
        changed=found.changed,
        any_changed=found.any_changed,
        rows=tuple(_rows(states[0].recipe, states[1].recipe)),
        written=str(to) if to else None,
    )


def _developed(
    bench: Bench, frame: Frame, recipes: list[EffectiveRecipe], size: int, dark: DarkOf, threads: int
) -> list[Any]:
    pixels = PixelSpec(fit=(size, size))
    with DecoderPool(1) as decoder:
        data = bench.books.master_bytes(frame)
        decoded = decoder.decode(data, frame.name, orientation=frame.facts.orientation)
        masters = [dark(decoder, recipe) for recipe in recipes]
        return [
            render(decoded, recipe, pixels, threads=threads, dark=master)
            for recipe, master in zip(recipes, masters, strict=True)
        ]


def _state(bench: Bench, frame: Frame, text: str) -> _State:
    standing = bench.standing(frame)
    if text == NOW:
        return _State(title="now", recipe=bench.effective(standing))
    if text == PLAIN:
        return _State(title="plain", recipe=EffectiveRecipe(foundation=bench.foundation))
    history = History(bench)
    versions = history.versions(frame)
    try:
        version = version_named(versions, text)
    except UsageError:
        named = _by_name(bench, frame, text)
        if named is None:
            raise UsageError(
                f"{shown(text)} is no version, line or house recipe of this frame.",
                hint=f"{NOTHING} Name one of these, {NOW}, or {PLAIN}; `noctuary recipe history FRAME` lists "
                "versions.",
            ) from None
        return named
    recipe = plain_recipe(version, replace(standing, selections=history.along(version)))
    if version.selection is not None:
        return _State(title=f"shared {short(version.entry)}", recipe=_alone(recipe))
    # As it was when this version spoke: its own operators, and beneath them what was shared before it.
    shared = _shared_before(version, versions)
    if shared is None:
        return _State(title=f"own {short(version.entry)}", recipe=_alone(recipe))
    beneath = _alone(plain_recipe(shared, replace(standing, selections=history.along(shared))))
    title = f"own {short(version.entry)} over shared {short(shared.entry)}"
    return _State(title=title, recipe=_over(beneath, recipe))


def _shared_before(version: Version, versions: Sequence[Version]) -> Version | None:
    """What a frame shared when an own version was saved, by the order of entries; None for nothing."""
    before = [
        v for v in versions if v.layer == SHARED and (v.counter, v.entry) < (version.counter, version.entry)
    ]
    for line in (version.line, MAIN):
        for current in heads(v for v in before if v.line == line):
            return current
    return None


def _by_name(bench: Bench, frame: Frame, text: str) -> _State | None:
    lines = Lines(bench).of(frame.id.removeprefix("xxh128:"))
    # What a line is called now comes before what another was started as.
    for line in sorted(lines, key=lambda line: line.name != text):
        if text in (line.name, line.started_as):
            standing = standings(bench.books.catalogue, [frame.id], line.started_as)[frame.id]
            return _State(title=f"line {shown(line.name)}", recipe=bench.effective(standing))
    try:
        house = House(bench).named(text)
    except ArchiveError:
        return None
    recipe = Recipe(foundation=bench.foundation, base=house.base, finish=house.finish)
    return _State(title=shown(house.name), recipe=_alone(recipe))


def _alone(recipe: Recipe) -> EffectiveRecipe:
    finish = tuple(item.step for item in recipe.finish or () if item.on)
    return EffectiveRecipe(foundation=recipe.foundation, base=recipe.base, finish=finish)


def _over(beneath: EffectiveRecipe, recipe: Recipe) -> EffectiveRecipe:
    steps = {step.name: step for step in (*beneath.base, *recipe.base)}
    alone = _alone(recipe)
    finish = beneath.finish if recipe.finish is None else alone.finish
    base = tuple(steps[name] for name in sorted(steps))
    return EffectiveRecipe(foundation=recipe.foundation, base=base, finish=finish)


def _rows(first: EffectiveRecipe, second: EffectiveRecipe) -> list[CompareRow]:
    said = [{step.name: operator.in_words(step) for step in each.base} for each in (first, second)]
    names = sorted(said[0].keys() | said[1].keys())
    rows = [_row(name, said) for name in names]
    finishes = [_finish(each.finish) for each in (first, second)]
    return [
        *rows,
        *([CompareRow(part=FINISH, first=finishes[0], second=finishes[1])] if any(finishes) else []),
    ]


def _row(name: str, said: list[dict[str, str]]) -> CompareRow:
    first, second = (each.get(name, "") for each in said)
    return CompareRow(part=name, first=first, second=second)


def _finish(steps: tuple[OperatorValues, ...]) -> str:
    return "; ".join(operator.in_words(step) for step in steps)
