"""A run's ramps laid beside how bright its frames are: the figures behind the chart."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from archive.editing.bench import Bench
from archive.editing.explaining import value_in_words
from archive.engine import operator
from archive.errors import shown
from archive.journal.ramps import value_at
from archive.journal.recipes import Standing
from archive.model.capture import CaptureFacts, Frame
from archive.model.editing import AnchorLine, RampLine, RampSheet
from archive.model.recipe import Ramp

BrightnessOf = Callable[[Sequence[Frame]], Mapping[str, float]]
"""Gives the surveyed brightness of frames in stops, by id; those that were not surveyed are left out."""


def sheet(bench: Bench, where: str, brightness_of: BrightnessOf) -> RampSheet:
    """Every ramp along the named frames, with its value at each of them.

    Raises
    ------
    UsageError : when the name finds nothing.
    """
    frames = bench.several(where)
    standing = bench.standings(frames)
    ramps = _ramps(frames, standing)
    bright = brightness_of(frames)
    reached = {index for values, _, _ in ramps.values() for index in values}
    site = bench.books.catalogue.sites_of_rolls([frames[0].roll]).get(frames[0].roll)
    return RampSheet(
        title=shown(where),
        zone=site.zone if site else None,
        frames=tuple(frame.name for frame in frames),
        taken=tuple(frame.taken for frame in frames),
        exposure=tuple(gathered(frame.facts) for frame in frames),
        ramps=tuple(_line(name, frames, standing, *found) for name, found in sorted(ramps.items())),
        outside=tuple(f.name for i, f in enumerate(frames) if i not in reached) if ramps else (),
        brightness=tuple(bright.get(frame.id) for frame in frames),
    )


def gathered(facts: CaptureFacts) -> float | None:
    """Light that exposure time, aperture and sensitivity let count: log2(t · ISO/100 / N²), in stops."""
    if not (facts.exposure_s and facts.f_number and facts.iso):
        return None
    return math.log2(facts.exposure_s * facts.iso / 100 / facts.f_number**2)


_Found = tuple[dict[int, float], dict[str, float], Ramp]


def _ramps(frames: Sequence[Frame], standing: Mapping[str, Standing]) -> dict[str, _Found]:
    """For each ramped parameter its values by the place of the frame, its anchors, and its newest ramp."""
    found: dict[str, _Found] = {}
    for index, frame in enumerate(frames):
        each = standing[frame.id]
        for version in each.shared[:1]:
            for ramp in version.recipe.ramps:
                selection = each.selections[ramp.along or version.selection or ""]
                values, anchors, _ = found.setdefault(ramp.parameter, ({}, {}, ramp))
                values[index] = value_at(ramp, selection, frame.id)
                anchors |= {anchor.frame: anchor.value for anchor in ramp.anchors}
    return found


def _line(
    parameter: str,
    frames: Sequence[Frame],
    standing: Mapping[str, Standing],
    values: dict[int, float],
    anchors: dict[str, float],
    ramp: Ramp,
) -> RampLine:
    name, _, own = parameter.partition(".")
    known = {each.name: each for each in operator.declarations()}.get(name)
    declared = known.parameter(own) if known else None
    unit = str(declared.unit) if declared else ""
    return RampLine(
        parameter=parameter,
        unit={"EV": "stops", "of the side": "share of the side"}.get(unit, unit),
        rule=ramp.rule,
        scale=ramp.scale,
        anchors=tuple(
            AnchorLine(
                frame=frame.name,
                position=frame.index or index + 1,
                taken=frame.taken,
                value=anchors[frame.id],
                words=value_in_words(parameter, anchors[frame.id]),
            )
            for index, frame in enumerate(frames)
            if frame.id in anchors
        ),
        values=tuple(values.get(index) for index in range(len(frames))),
        overridden=tuple(i for i, frame in enumerate(frames) if _overrides(standing[frame.id], name)),
    )


def _overrides(standing: Standing, operator_name: str) -> bool:
    """Whether a frame's own version decides an operator in sequences."""
    own = standing.own_for(in_sequence=True)
    return bool(own) and own[0].recipe.operator(operator_name) is not None
