"""Recipes as intents: save, carry, reinstate become drafts of entries; versions become effective recipes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from archive.journal.ramps import value_at
from archive.model.capture import Selection
from archive.model.entry import MAIN, OWN, Change, Draft, Version
from archive.model.identity import EntryId
from archive.model.recipe import EffectiveRecipe, Foundation, OperatorValues, Recipe


@dataclass(frozen=True, kw_only=True)
class Standing:
    """The versions that speak for one frame now, newest first; more than one of a kind is contested.

    ``line`` is the frame's current line; where it says nothing, the main line speaks. ``selections`` are
    those that the shared versions speak about and that their ramps run along.
    """

    frame: str
    own: tuple[Version, ...]
    shared: tuple[Version, ...]
    selections: Mapping[str, Selection]
    line: str = MAIN

    @property
    def contested(self) -> bool:
        return len(self.own) > 1 or len(self.shared) > 1


def effective(standing: Standing, *, in_sequence: bool, foundation: Foundation) -> EffectiveRecipe:
    """What a frame is developed with.

    Per operator: the frame's own version, else the shared one with its ramps evaluated, else not at all;
    the finish is taken whole in the same way. In sets and movies a frame's own version counts only if it
    was saved for them. ``foundation`` stands under frames that no version speaks for.
    """
    own = next((v for v in standing.own if v.in_sequence or not in_sequence), None)
    shared = standing.shared[0] if standing.shared else None
    steps: dict[str, OperatorValues] = {}
    origins: dict[str, str] = {}
    finish: tuple[OperatorValues, ...] = ()
    for version in (shared, own):
        if version is None:
            continue
        recipe = with_ramps(version, standing)
        for step in recipe.base:
            steps[step.name] = step
            origins[step.name] = version.entry
        if recipe.finish is not None:
            finish = tuple(item.step for item in recipe.finish if item.on)
            origins["finish"] = version.entry
    speaking = own or shared
    return EffectiveRecipe(
        foundation=speaking.recipe.foundation if speaking else foundation,
        base=tuple(steps[name] for name in sorted(steps)),
        finish=finish,
        origins=origins,
    )


def with_ramps(version: Version, standing: Standing) -> Recipe:
    """A version's recipe as it is at the standing's frame: every ramp a plain value."""
    recipe = version.recipe
    if not recipe.ramps or version.selection is None:
        return recipe
    steps = {step.name: step for step in recipe.base}
    for ramp in recipe.ramps:
        name, _, parameter = ramp.parameter.partition(".")
        step = steps[name]
        selection = standing.selections[ramp.along or version.selection]
        values = {**step.values, parameter: value_at(ramp, selection, version.frame)}
        steps[name] = replace(step, values=values)
    return replace(recipe, base=tuple(steps.values()), ramps=())


def speaking_versions(standing: Standing, *, in_sequence: bool) -> tuple[EntryId, ...]:
    """The entries that an effective recipe is made of, for the record."""
    own = next((v for v in standing.own if v.in_sequence or not in_sequence), None)
    parts = (own, standing.shared[0] if standing.shared else None)
    return tuple(version.entry for version in parts if version is not None)


def save(
    standing: Standing,
    recipe: Recipe,
    *,
    in_sequence: bool,
    note: str = "",
    kind: str = "recipe",
) -> Draft | None:
    """A frame's own new version on its line, building on every current one; None if nothing changes."""
    current = standing.own[0] if standing.own else None
    same = current is not None and current.recipe == recipe and current.in_sequence == in_sequence
    if same and len(standing.own) == 1:
        return None
    change = Change(
        subjects=(standing.frame,),
        layer=OWN,
        line=standing.line,
        builds_on=tuple(sorted(v.entry for v in standing.own if v.line == standing.line)),
        value=version_value(recipe, in_sequence, note),
    )
    return Draft(kind=kind, changes=(change,))


def narrowed(
    base: Sequence[OperatorValues], *, only: Collection[str] = (), leave: Collection[str] = ()
) -> tuple[OperatorValues, ...]:
    """The operators that are carried: those in ``only`` (all, if empty) and not in ``leave``."""
    return tuple(step for step in base if (not only or step.name in only) and step.name not in leave)


def masks(standing: Standing, recipe: Recipe) -> list[str]:
    """Operators of a shared recipe that a frame's own in-sequence version would hide."""
    own = next((v for v in standing.own if v.in_sequence), None)
    if own is None:
        return []
    hidden = [step.name for step in recipe.base if own.recipe.operator(step.name) is not None]
    return [*hidden, *(["finish"] if own.recipe.finish is not None and recipe.finish is not None else [])]


def with_values(recipe: Recipe, steps: Sequence[OperatorValues], *, drop: Collection[str] = ()) -> Recipe:
    """A recipe with some operators set and some taken out, their ramps with them."""
    merged = {step.name: step for step in recipe.base if step.name not in drop}
    merged.update({step.name: step for step in steps})
    ramps = tuple(ramp for ramp in recipe.ramps if ramp.parameter.partition(".")[0] in merged)
    return replace(recipe, base=tuple(merged.values()), ramps=ramps)


def version_value(
    recipe: Recipe, in_sequence: bool, note: str, carried_from: str | None = None
) -> dict[str, object]:
    """A version as an entry states it; ``carried_from`` is the frame whose recipe it was."""
    value: dict[str, object] = {"recipe": recipe.to_json(), "in_sequence": in_sequence, "note": note}
    return value if carried_from is None else {**value, "carried_from": carried_from}
