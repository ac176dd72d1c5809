"""Shared versions: what many frames are developed with, changed for some or all of them in one entry."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from archive.journal.recipes import Standing, version_value
from archive.model.capture import Selection
from archive.model.entry import SELECTION, SHARED, Change, Draft, Version
from archive.model.identity import FrameId
from archive.model.recipe import Recipe

ChangeRecipe = Callable[[Recipe | None, Version | None], Recipe]
"""What becomes of a group's shared recipe; None where its frames share nothing yet."""
Select = Callable[[Sequence[str]], Selection]
"""The selection of some frames, in order, with their times as they are known now."""


@dataclass(frozen=True, kw_only=True)
class Share:
    """One shared version to be: its selection, its recipe, and the versions that it replaces."""

    selection: Selection
    recipe: Recipe
    before: tuple[Version, ...]
    along: Mapping[str, Selection]


def revised(standing: Mapping[str, Standing], select: Select, change: ChangeRecipe) -> list[Share]:
    """The shared versions that these frames get when ``change`` is made to what each of them shares.

    Frames that share the same versions now stay together. Where they are all frames of their version's
    selection, it stays; where they are a part of them, ramps go on running along the whole. Frames that
    end with the same recipe get one version.
    """
    groups: dict[tuple[object, ...], list[str]] = {}
    for frame, each in standing.items():
        # One entry may give parts of a run versions of their own.
        alike = tuple((version.entry, version.selection) for version in each.shared)
        groups.setdefault(alike, []).append(frame)
    shares: list[Share] = []
    for frames in groups.values():
        first = standing[frames[0]]
        newest = first.shared[0] if first.shared else None
        held = first.selections[newest.selection] if newest and newest.selection else None
        # What was decided on a companion speaks for its frame, under the name it was decided on.
        names = {f: standing[f].shared[0].frame for f in frames} if newest and newest.recipe.ramps else {}
        spoken = {standing[f].shared[0].frame for f in frames} if newest else set(frames)
        whole = held is not None and set(held.frames) == spoken
        silent = newest is None or newest.recipe.says_nothing
        before = None if newest is None or silent else newest.recipe if whole else elsewhere(newest)
        selection = held if whole and held is not None else _named(select(frames), names)
        recipe = settled_on(change(before, newest), selection)
        along = {name: s for name in _names(recipe) if (s := first.selections.get(name)) is not None}
        unchanged = newest is not None and _same(recipe, newest, selection)
        if unchanged and len(first.shared) == 1:
            continue
        shares.append(Share(selection=selection, recipe=recipe, before=first.shared, along=along))
    return _merged(shares, list(standing), select)


def shared_draft(
    shares: Sequence[Share],
    *,
    line: str,
    note: str = "",
    carried_from: str | None = None,
    along: Mapping[str, Selection] | None = None,
    kind: str = "recipe",
) -> Draft | None:
    """These versions in one entry, with every selection that they speak about; None for none."""
    listed: dict[str, Selection] = {}
    changes: list[Change] = []
    for share in shares:
        listed[share.selection.id] = share.selection
        listed |= {name: {**(along or {}), **share.along}[name] for name in _names(share.recipe)}
        changes.append(
            Change(
                subjects=(share.selection.id,),
                layer=SHARED,
                line=line,
                builds_on=tuple(sorted({v.entry for v in share.before if v.line == line})),
                value=version_value(share.recipe, True, note, carried_from),
            )
        )
    lists = [Change(subjects=(s.id,), layer=SELECTION, value=s.to_json()) for s in listed.values()]
    return Draft(kind=kind, changes=(*lists, *changes)) if changes else None


def _named(selection: Selection, names: Mapping[str, str]) -> Selection:
    if all(names.get(frame, frame) == frame for frame in selection.frames):
        return selection
    frames = tuple(FrameId(names.get(frame, frame)) for frame in selection.frames)
    return Selection(frames=frames, milliseconds=selection.milliseconds)


def elsewhere(version: Version) -> Recipe:
    """A version's recipe for other frames than its own selection's: its ramps name what they run along."""
    ramps = (replace(ramp, along=ramp.along or version.selection) for ramp in version.recipe.ramps)
    return replace(version.recipe, ramps=tuple(ramps))


def settled_on(recipe: Recipe, selection: Selection) -> Recipe:
    """The recipe on a selection: ramps along this very one need not say so."""
    ramps = (replace(r, along=None) if r.along == selection.id else r for r in recipe.ramps)
    return replace(recipe, ramps=tuple(ramps))


def _same(recipe: Recipe, version: Version, selection: Selection) -> bool:
    if version.selection == selection.id:
        return recipe == version.recipe
    return recipe == elsewhere(version)


def _names(recipe: Recipe) -> list[str]:
    return sorted({ramp.along for ramp in recipe.ramps if ramp.along is not None})


def _merged(shares: list[Share], order: Sequence[str], select: Select) -> list[Share]:
    """Groups that end alike become one selection, unless a ramp runs along a selection of its own."""
    alike: dict[Recipe, list[Share]] = {}
    apart: list[Share] = []
    for share in shares:
        if any(ramp.along is None for ramp in share.recipe.ramps):
            apart.append(share)
        else:
            alike.setdefault(share.recipe, []).append(share)
    for recipe, group in alike.items():
        if len(group) == 1:
            apart.append(group[0])
            continue
        frames = {frame for share in group for frame in share.selection.frames}
        before = {(v.entry, v.selection): v for share in group for v in share.before}
        apart.append(
            Share(
                selection=select([frame for frame in order if frame in frames]),
                recipe=recipe,
                before=tuple(before.values()),
                along={name: s for share in group for name, s in share.along.items()},
            )
        )
    return apart
