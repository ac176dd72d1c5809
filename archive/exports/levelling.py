"""Levelling laid over a recipe: stops added to the exposure of frames in sets and movies."""

from __future__ import annotations

from dataclasses import replace

from archive.engine import operator
from archive.model.recipe import EffectiveRecipe
from archive.model.survey import Level

_EXPOSURE, _STOPS = "exposure", "stops"
_DIGITS = 3


def levelled(recipe: EffectiveRecipe, level: Level | None) -> EffectiveRecipe:
    """The recipe with the level's stops added to its exposure, held within the operator's range.

    Nothing to add leaves the recipe as it is.
    """
    if level is None or level.stops == 0:
        return recipe
    held = next((step for step in recipe.base if step.name == _EXPOSURE), None)
    version = held.version if held else None
    known = operator.declaration(_EXPOSURE, version)
    parameter = next(each for each in known.parameters if each.name == _STOPS)
    before = float(held.values[_STOPS]) if held else 0.0
    stops = min(parameter.high, max(parameter.low, round(before + level.stops, _DIGITS)))
    values = {**(held.values if held else {}), _STOPS: stops}
    step = operator.checked(_EXPOSURE, values, version=version)
    others = [other for other in recipe.base if other.name != _EXPOSURE]
    base = tuple(sorted([*others, step], key=lambda each: each.name))
    return replace(recipe, base=base, origins={**recipe.origins, "levelling": level.entry})
