"""Recipes as intents: save, carry, reinstate become drafts of entries; versions become effective recipes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from archive.journal.ramps import value_at
from archive.model.capture import Selection
from archive.model.entry import MAIN, OWN, Change, Draft, Version
from archive.model.identity import EntryId
from archive.model.recipe import FINISH, EffectiveRecipe, Foundation, OperatorValues, Recipe


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
        """Whether more than one version claims to be current, in whatever use."""
        return len(self.own) > 1 or len(self.shared) > 1

    def own_for(self, *, in_sequence: bool) -> tuple[Version, ...]:
        """The frame's own current versions that take part; in sets and movies those saved for them."""
        return tuple(version for version in self.own if version.in_sequence or not in_sequence)

    def contested_for(self, *, in_sequence: bool) -> bool:
        """Whether more than one version claims to be current in stills, or in sets and movies."""
        return len(self.own_for(in_sequence=in_sequence)) > 1 or len(self.shared) > 1

    def speaking(self, *, in_sequence: bool) -> tuple[Version, ...]:
        """The versions that an effective recipe is made of, the frame's own first; none that says nothing."""
        heads = (*self.own_for(in_sequence=in_sequence)[:1], *self.shared[:1])
        return tuple(version for version in heads if not version.recipe.says_nothing)


def effective(standing: Standing, *, in_sequence: bool, foundation: Foundation) -> EffectiveRecipe:
    """What a frame is developed with.

    Per operator: the frame's own version, else the shared one with its ramps evaluated, else not at all;
    the finish is taken whole in the same way. In sets and movies a frame's own version counts only if it
    was saved for them; one that says nothing, as after taking back, is as good as none. ``foundation``
    stands under frames that no version speaks for.
    """
    speaking = standing.speaking(in_sequence=in_sequence)
    steps: dict[str, OperatorValues] = {}
    origins: dict[str, str] = {}
    finish: tuple[OperatorValues, ...] = ()
    for version in reversed(speaking):
        recipe = with_ramps(version, standing)
        for step in recipe.base:
            steps[step.name] = step
            origins[step.name] = version.entry
        if recipe.finish is not None:
            finish = tuple(item.step for item in recipe.finish if item.on)
            origins[FINISH] = version.entry
    return EffectiveRecipe(
        foundation=speaking[0].recipe.foundation if speaking else foundation,
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
    return tuple(version.entry for version in standing.speaking(in_sequence=in_sequence))


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


def masks(standing: Standing, shared: Collection[str], *, in_sequence: bool) -> list[str]:
    """Which of these parts of a shared recipe (operators, ``finish``) a frame's own version hides."""
    own = standing.own_for(in_sequence=in_sequence)[:1]
    return [part for part in shared if any(part in version.recipe.parts for version in own)]


def parts_changed(before: Recipe | None, after: Recipe) -> list[str]:
    """The parts that a recipe says otherwise than one before it, ramps with them; not those it drops."""
    return [part for part in after.parts if before is None or _said(before, part) != _said(after, part)]


def _said(recipe: Recipe, part: str) -> object:
    if part == FINISH:
        return recipe.finish
    return recipe.operator(part), [r for r in recipe.ramps if r.parameter.partition(".")[0] == part]


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
