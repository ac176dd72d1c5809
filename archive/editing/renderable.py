"""Whether recipes can be rendered as far as their values tell, asked before a version of them is recorded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from archive.catalogue.index import Catalogue
from archive.engine import operator
from archive.errors import ArchiveError, counted, shown
from archive.journal.ramps import value_at
from archive.journal.sharing import Share
from archive.model.capture import Selection
from archive.model.identity import short
from archive.model.recipe import HouseRecipe, OperatorValues, Recipe

_NOTHING = "Nothing was changed."


def refuse_unrenderable(
    catalogue: Catalogue, recipe: Recipe | HouseRecipe, before: Iterable[Recipe | HouseRecipe] = ()
) -> None:
    """Nothing, for a recipe whose values make a picture; ramps are not looked at.

    ``before`` are the recipes that it goes on from: dark frames that they name already may be of a night that
    is not known here now.

    Raises
    ------
    ArchiveError : an operator's values together leave nothing, or it names a frame that is not known here.
    """
    steps = _steps(recipe)
    _refuse_faults(steps)
    _refuse_unknown(catalogue, steps, before)


def refuse_unrenderable_shares(
    catalogue: Catalogue,
    shares: Sequence[Share],
    along: Mapping[str, Selection],
    before: Iterable[Recipe] = (),
) -> None:
    """Nothing, for shared versions to be that make a picture at every frame that they speak about.

    Raises
    ------
    ArchiveError : as ``refuse_unrenderable``, ramps being followed along their frames.
    """
    for share in shares:
        ramped = {ramp.parameter.partition(".")[0] for ramp in share.recipe.ramps}
        steps = _steps(share.recipe)
        _refuse_faults(step for step in steps if step.name not in ramped)
        _refuse_unknown(catalogue, steps, [*before, *(version.recipe for version in share.before)])
        for step in share.recipe.base:
            if step.name in ramped and operator.bounds_itself(step.name, step.version):
                for frame, there in _along(step, share, along):
                    told = operator.fault(there)
                    if told is not None:
                        known = catalogue.frames_by_id([frame]).get(frame)
                        name = shown(known.name) if known else short(frame)
                        raise ArchiveError(
                            f"At {name} the ramps would cross. {told[0].upper()}{told[1:]}",
                            hint=f"{_NOTHING} Set other anchors, or `noctuary recipe ramp drop` ends a ramp.",
                        )


def _steps(recipe: Recipe | HouseRecipe) -> tuple[OperatorValues, ...]:
    return (*recipe.base, *(item.step for item in recipe.finish or ()))


def _along(
    step: OperatorValues, share: Share, along: Mapping[str, Selection]
) -> Iterator[tuple[str, OperatorValues]]:
    """An operator's values at each frame of a shared version."""
    listed = {**along, **share.along}
    ramps = [r for r in share.recipe.ramps if r.parameter.partition(".")[0] == step.name]
    for frame in share.selection.frames:
        values = {
            ramp.parameter.partition(".")[2]: value_at(
                ramp, share.selection if ramp.along is None else listed[ramp.along], frame
            )
            for ramp in ramps
        }
        yield frame, replace(step, values={**step.values, **values})


def _refuse_faults(steps: Iterable[OperatorValues]) -> None:
    faults = [told for step in steps if (told := operator.fault(step)) is not None]
    if faults:
        raise ArchiveError(
            " ".join(dict.fromkeys(faults)),
            hint=f"{_NOTHING} Set other values of it, or take it out of the recipe that it is in.",
        )


def _refuse_unknown(
    catalogue: Catalogue, steps: Iterable[OperatorValues], before: Iterable[Recipe | HouseRecipe]
) -> None:
    told = {each for recipe in before for step in recipe.base for each in operator.named_frames(step)}
    for step in steps:
        named = [each for each in operator.named_frames(step) if each not in told]
        known = catalogue.frames_by_id(named) if named else {}
        strange = [each for each in named if each not in known]
        if strange:
            raise ArchiveError(
                f"{step.name} names {counted(len(strange), 'frame')} not known here: {short(strange[0])}"
                f"{' and others' if len(strange) > 1 else ''}.",
                hint=f"{_NOTHING} Mount the volume that holds its night, or name frames of this archive with "
                "`noctuary darks FRAME DARK…`.",
            )
