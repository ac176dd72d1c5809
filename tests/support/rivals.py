"""Versions by people who had not seen each other's, as uniting two archives brings them."""

from __future__ import annotations

from dataclasses import replace

from support.exports import Studio

from archive.editing.bench import selection_from
from archive.engine import operator
from archive.journal.recipes import version_value
from archive.model.entry import MAIN, OWN, SELECTION, SHARED, Change, Draft
from archive.model.recipe import Recipe


def rival(
    place: Studio,
    name: str,
    *settings: tuple[str, dict[str, float]],
    shared: bool = False,
    in_sequence: bool = False,
    line: str = MAIN,
    beside: str | None = None,
) -> str:
    """A version that builds on nothing, or on what the version ``beside`` builds on; its entry's id."""
    bench = place.workspace.recipes.bench
    base = tuple(operator.checked(each, values) for each, values in settings)
    value = version_value(Recipe(foundation=bench.foundation, base=base), shared or in_sequence, "")
    frames = bench.several(name)
    changes: tuple[Change, ...]
    if shared:
        selection = selection_from(frames)
        changes = (
            Change(subjects=(selection.id,), layer=SELECTION, value=selection.to_json()),
            Change(subjects=(selection.id,), layer=SHARED, line=line, value=value),
        )
    else:
        changes = (Change(subjects=(frames[0].id,), layer=OWN, line=line, value=value),)
    if beside is not None:
        _, lines = place.workspace.recipes.history(frames[0].id.removeprefix("xxh128:"))
        older = next(each.version.builds_on for each in lines if each.version.entry == beside)
        changes = (*changes[:-1], replace(changes[-1], builds_on=older))
    return str(bench.state(Draft(kind="recipe", changes=changes)))
