"""Operators of a recipe that take no part in a frame, whatever its size and whatever is on it."""

from __future__ import annotations

from collections.abc import Collection

from archive.engine import operator
from archive.engine.declaration import Operator
from archive.engine.decode import Decoded
from archive.engine.operators.tone import Exposure, HighlightRecovery
from archive.model.levels import Idle
from archive.model.recipe import EffectiveRecipe


def idle(decoded: Decoded, effective: EffectiveRecipe, asked: Collection[str] = ()) -> tuple[Idle, ...]:
    """The operators that leave this kind of frame as it is, in the recipe's order.

    Those at their neutral values are meant to; they are told of only where a person ``asked`` for them by
    name.

    Raises
    ------
    ArchiveError : the recipe needs an operator or version that this release does not have.
    """
    steps = (*effective.base, *effective.finish)
    working = {step.name for step in steps if not operator.is_neutral(step)}
    found: dict[str, str] = {}
    for step in steps:
        if step.name not in working:
            if step.name in asked:
                found[step.name] = "its values are neutral"
        elif why := _idle_here(operator.instance(step), decoded, effective):
            found[step.name] = why
    return tuple(Idle(operator=name, why=why) for name, why in found.items())


def _idle_here(step: Operator, decoded: Decoded, effective: EffectiveRecipe) -> str | None:
    if step.declared.mosaic_only and not decoded.is_mosaic:
        kind = "a developed picture" if decoded.camera is None else "none"
        return f"it works on Bayer mosaics only, and this frame is {kind}"
    if isinstance(step, HighlightRecovery) and decoded.camera is None:
        base = [operator.instance(values) for values in effective.base]
        if not any(isinstance(each, Exposure) and each.stops > 0 for each in base):
            return "nothing lies above the white of a developed picture, unless exposure raises it"
    return None
