"""Where a ramp runs: the selections it runs along, and all frames that have it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from archive.catalogue.lineage import selection_of, standings
from archive.editing.bench import NOTHING, Bench
from archive.errors import UsageError, shown
from archive.model.capture import Frame, Selection
from archive.model.entry import Version
from archive.model.recipe import Ramp


@dataclass(frozen=True, kw_only=True)
class Span:
    """One ramp of a parameter, None where there is none yet; what it runs along; the frames that have it.

    A ramp that was extended runs along several selections, each within the next wider one: frames keep
    theirs, so that their values stay. ``along`` has the widest first, and the ramp itself names none.
    """

    ramp: Ramp | None
    along: tuple[Selection, ...]
    members: tuple[Frame, ...]

    def carrying(self, ramp: Ramp, held: Ramp | None, version: Version | None) -> Selection:
        """What a frame's ramp runs along from now on: what it does now, if it holds all anchors.

        ``held`` is the frame's ramp as its version says it; None where it has none yet.
        """
        now = "" if held is None else _along(held, version)
        for each in self.along:
            if each.id == now and all(anchor.frame in each.moments for anchor in ramp.anchors):
                return each
        return self.along[0]


def span_of(bench: Bench, frames: Sequence[Frame], parameter: str, where: str) -> Span:
    """The ramp of a parameter that the named frames have, however often it was extended.

    Raises
    ------
    UsageError : when parts of them have different ramps of it.
    """
    found = _found(bench, frames, parameter)
    if not found:
        return Span(ramp=None, along=(_whole(bench, frames),), members=tuple(frames))
    alike = {replace(ramp, along=None) for ramp in found}
    along = _selections(bench, found)
    if len(alike) > 1 or not _nested(along):
        raise UsageError(
            f"Parts of {shown(where)} have different ramps of {parameter}.",
            hint=f"{NOTHING} Name a part that has one, as NIGHT/CAMERA/NUMBER#1..40; "
            "`noctuary recipe ramp drop` ends them all.",
        )
    (ramp,) = alike
    # Those named may be but the frames that had it before it was extended, or those that it was extended to.
    runs = {frame.sequence for frame in frames if frame.sequence}
    others = [each for run in sorted(runs) for each in bench.books.catalogue.frames(sequence=run)]
    for each in _selections(
        bench, [r for r in _found(bench, others, parameter) if replace(r, along=None) == ramp]
    ):
        if each not in along and _nested([*along, each]):
            along = sorted([*along, each], key=_widest_first)
    everywhere = [frame for each in along for frame in each.frames]
    members = _members(bench, everywhere, {replace(ramp, along=each.id) for each in along})
    return Span(ramp=ramp, along=tuple(along), members=members)


def all_with(bench: Bench, frames: Sequence[Frame], parameter: str) -> tuple[Frame, ...]:
    """Every frame that has a ramp of a parameter which one of these has too."""
    found = _found(bench, frames, parameter)
    reached = [frame for each in _selections(bench, found) for frame in each.frames]
    return _members(bench, reached, set(found))


def _found(bench: Bench, frames: Sequence[Frame], parameter: str) -> list[Ramp]:
    """Each ramp of the parameter among these frames once, with what it runs along."""
    heads = (version for each in bench.standings(frames).values() for version in each.shared[:1])
    return list(dict.fromkeys(ramp for version in heads if (ramp := _ramp(version, parameter)) is not None))


def _selections(bench: Bench, ramps: Iterable[Ramp]) -> list[Selection]:
    """What these ramps run along, the widest first."""
    names = {ramp.along for ramp in ramps if ramp.along}
    return sorted((selection_of(bench.books.catalogue, name) for name in names), key=_widest_first)


def _widest_first(selection: Selection) -> tuple[int, str]:
    return -len(selection.frames), selection.id


def _nested(selections: Iterable[Selection]) -> bool:
    """Whether each lies within every wider one."""
    in_order = [set(each.frames) for each in sorted(selections, key=_widest_first)]
    return all(narrow <= wide for wide, narrow in pairwise(in_order))


def _members(bench: Bench, names: Iterable[str], ramps: set[Ramp]) -> tuple[Frame, ...]:
    catalogue = bench.books.catalogue
    parameter = next(iter(ramps)).parameter if ramps else ""
    standing = standings(catalogue, list(dict.fromkeys(names)))
    having = (s.frame for s in standing.values() if s.shared and _ramp(s.shared[0], parameter) in ramps)
    ids = list(dict.fromkeys(having))
    known = catalogue.frames_by_id(ids)
    return tuple(known[frame] for frame in ids if frame in known)


def _ramp(version: Version, parameter: str) -> Ramp | None:
    ramp = version.recipe.ramp(parameter)
    return None if ramp is None else replace(ramp, along=_along(ramp, version))


def _along(ramp: Ramp, version: Version | None) -> str:
    return ramp.along or (version.selection if version else None) or ""


def _whole(bench: Bench, frames: Sequence[Frame]) -> Selection:
    """The selection of these frames: the very one that they share a version of, if there is one."""
    standing = bench.standings(frames)
    heads = {s.shared[0].selection for s in standing.values() if s.shared}
    if len(heads) == 1 and all(s.shared for s in standing.values()):
        held = selection_of(bench.books.catalogue, heads.pop() or "")
        if set(held.frames) == set(standing):
            return held
    return bench.selecting(frames)([frame.id for frame in frames])
