"""Where each part of an effective recipe comes from."""

from __future__ import annotations

from dataclasses import dataclass

from archive.journal.ramps import neighbours
from archive.journal.recipes import Standing
from archive.model.entry import Version
from archive.model.recipe import Anchor


@dataclass(frozen=True, kw_only=True)
class RampSource:
    """A ramped parameter, and the anchors that its value lies between; None outside them."""

    parameter: str
    before: Anchor | None
    after: Anchor | None


@dataclass(frozen=True, kw_only=True)
class PartSource:
    """One operator, or ``finish``: the version that says it, and the ramps that its values come from."""

    part: str
    version: Version
    ramps: tuple[RampSource, ...] = ()


def sources(standing: Standing, *, in_sequence: bool) -> list[PartSource]:
    """Where each operator and the finish come from: the frame's own version before what it shares."""
    found: dict[str, PartSource] = {}
    for version in reversed(standing.speaking(in_sequence=in_sequence)):
        for step in version.recipe.base:
            ramps = tuple(_ramps(version, standing, step.name))
            found[step.name] = PartSource(part=step.name, version=version, ramps=ramps)
        if version.recipe.finish is not None:
            found["finish"] = PartSource(part="finish", version=version)
    return sorted(found.values(), key=lambda source: (source.part == "finish", source.part))


def _ramps(version: Version, standing: Standing, operator: str) -> list[RampSource]:
    places = []
    for ramp in version.recipe.ramps:
        along = ramp.along or version.selection
        if ramp.parameter.partition(".")[0] == operator and along is not None:
            before, after = neighbours(ramp, standing.selections[along], version.frame)
            places.append(RampSource(parameter=ramp.parameter, before=before, after=after))
    return places
