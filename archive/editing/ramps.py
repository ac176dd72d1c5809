"""Ramps: values that change along a sequence, set at anchors that are frames."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from archive.catalogue.resolve import find
from archive.editing.bench import NOTHING, Bench
from archive.editing.rampsheet import BrightnessOf, sheet
from archive.editing.rampspan import all_with, span_of
from archive.engine import operator
from archive.engine.declaration import Parameter
from archive.errors import UsageError, shown
from archive.journal.ramps import RULES
from archive.model.capture import Frame, Selection
from archive.model.editing import RampSheet, Saved
from archive.model.entry import Version
from archive.model.recipe import FINISH, Anchor, Ramp, Recipe

ChangeRamp = Callable[[Ramp | None], Ramp]


class Ramps:
    """The ramps of one archive's sequences; they are part of what frames share."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.brightness_of: BrightnessOf = lambda _frames: {}
        """Tells how bright frames were found, by id; whoever opens an archive knows where that is kept."""

    def of(self, where: str) -> RampSheet:
        """Every ramp along the named frames, with its value at each, and how bright they are."""
        return sheet(self._bench, where, self.brightness_of)

    def add(
        self, where: str, parameter: str, anchors: Sequence[str], *, rule: str | None = None, note: str = ""
    ) -> Saved:
        """Set anchors (``#40=0.5``: at frame 40 of the run) of a ramp; the first begin it.

        A frame that has an anchor already gets the new value.

        Raises
        ------
        UsageError : for a parameter that cannot ramp, a value out of range, or a frame that is not there.
        """
        declared = self._declared(parameter)
        wanted = _rule(rule)
        given: dict[str, float] = {}
        for text in anchors:
            name, equals, value = text.rpartition("=")
            if not equals or not name:
                raise UsageError(
                    f"{shown(text)} is no anchor.", hint=f"{NOTHING} Write FRAME=VALUE, as '#40=0.5'."
                )
            given[self._at(where, name).id] = _value(parameter, value)
        if not given:
            raise UsageError("A ramp needs at least one anchor, as '#40=0.5'.", hint=NOTHING)

        def change(ramp: Ramp | None) -> Ramp:
            held = {anchor.frame: anchor.value for anchor in ramp.anchors} if ramp else {}
            return Ramp(
                parameter=parameter,
                rule=wanted or (ramp.rule if ramp else "monotone-cubic"),
                scale=ramp.scale if ramp else declared.scale,
                rounding=ramp.rounding if ramp else rounding_of(declared),
                anchors=_anchors({**held, **given}),
                along=ramp.along if ramp else None,
            )

        return self._change(where, parameter, change, begin=True, note=note)

    def move(
        self, where: str, parameter: str, anchor: str, to: str, *, value: str | None = None, note: str = ""
    ) -> Saved:
        """Move an anchor to another frame, with its value or a new one.

        Raises
        ------
        UsageError : when there is no such anchor, or the other frame has one already.
        """
        start, end = self._at(where, anchor), self._at(where, to)
        new = None if value is None else _value(parameter, value)

        def change(ramp: Ramp | None) -> Ramp:
            held = _held(ramp, parameter)
            if start.id not in held:
                raise _no_anchor(anchor, parameter)
            moved = held.pop(start.id) if new is None else new
            held.pop(start.id, None)
            if end.id in held:
                raise UsageError(f"There is an anchor at {shown(to)} already.", hint=NOTHING)
            assert ramp is not None
            return replace(ramp, anchors=_anchors({**held, end.id: moved}))

        return self._change(where, parameter, change, note=note)

    def remove(self, where: str, parameter: str, anchors: Sequence[str], *, note: str = "") -> Saved:
        """Take anchors away; the last one goes with its ramp (:meth:`drop`).

        Raises
        ------
        UsageError : when there is no such anchor, or none would be left.
        """
        gone = {self._at(where, name).id: name for name in anchors}

        def change(ramp: Ramp | None) -> Ramp:
            held = _held(ramp, parameter)
            for frame, name in gone.items():
                if held.pop(frame, None) is None:
                    raise _no_anchor(name, parameter)
            if not held or ramp is None:
                raise UsageError(
                    f"{parameter} would have no anchor left.",
                    hint=f"{NOTHING} `noctuary recipe ramp drop` ends a ramp.",
                )
            return replace(ramp, anchors=_anchors(held))

        return self._change(where, parameter, change, note=note)

    def bend(self, where: str, parameter: str, rule: str, *, note: str = "") -> Saved:
        """Choose how a ramp runs between its anchors: ``linear`` or ``monotone-cubic``."""
        wanted = _rule(rule)

        def change(ramp: Ramp | None) -> Ramp:
            _held(ramp, parameter)
            assert ramp is not None
            return replace(ramp, rule=wanted or ramp.rule)

        return self._change(where, parameter, change, note=note)

    def drop(self, where: str, parameter: str, *, value: str | None = None, note: str = "") -> Saved:
        """End a ramp: from now on its parameter has one value, that given or its first anchor's.

        Where parts of the frames have different ramps, all of them end.
        """
        given = None if value is None else _value(parameter, value)
        members = all_with(self._bench, self._bench.several(where), parameter)
        if not members:
            raise _no_ramp(where, parameter)

        def revise(before: Recipe | None, _version: Version | None) -> Recipe:
            ramp = before.ramp(parameter) if before else None
            assert before is not None and ramp is not None, parameter
            ramps = [each for each in before.ramps if each.parameter != parameter]
            return _holding(before, parameter, ramp.anchors[0].value if given is None else given, ramps)

        return self._bench.share(members, revise, note=note)

    def extend(self, where: str, *, note: str = "") -> Saved:
        """Take frames that came later into the ramps of their run; those that were in it keep their values.

        The run's frames get the newest shared version of those that have ramps.

        Raises
        ------
        UsageError : when no frame of the run has a ramp, or all are reached already.
        """
        frames = self._bench.several(where)
        standing = self._bench.standings(frames)
        heads = [s.shared[0] for s in standing.values() if s.shared and s.shared[0].recipe.ramps]
        if not heads:
            raise UsageError(f"No frame of {shown(where)} has a ramp.", hint=NOTHING)
        newest = max(heads, key=lambda v: (v.counter, v.entry))
        lacking = [f for f in frames if not (s := standing[f.id].shared) or not s[0].recipe.ramps]
        if not lacking:
            raise UsageError(f"The ramps of {shown(where)} reach all of its frames.", hint=NOTHING)
        whole = self._bench.selecting(frames)([frame.id for frame in frames])
        missing = sorted({a.frame for r in newest.recipe.ramps for a in r.anchors} - set(whole.frames))
        if missing:
            raise UsageError(
                f"An anchor of the ramp lies outside {shown(where)}.",
                hint=f"{NOTHING} Name the whole sequence that the ramp runs along.",
            )
        ramps = tuple(replace(ramp, along=whole.id) for ramp in newest.recipe.ramps)
        recipe = replace(newest.recipe, ramps=ramps)
        return self._bench.share(lacking, lambda *_: recipe, note=note, along={whole.id: whole})

    # -- how ---------------------------------------------------------------------------------------

    def _change(
        self, where: str, parameter: str, change: ChangeRamp, *, note: str, begin: bool = False
    ) -> Saved:
        frames = self._bench.several(where)
        span = span_of(self._bench, frames, parameter, where)
        if span.ramp is None and not begin:
            raise _no_ramp(where, parameter)
        new = change(span.ramp)
        self._check_anchors(new, span.along[0], where)

        def revise(before: Recipe | None, version: Version | None) -> Recipe:
            recipe = before or Recipe(foundation=self._bench.foundation)
            along = span.carrying(new, recipe.ramp(parameter), version)
            in_order = sorted(new.anchors, key=lambda anchor: along.moments[anchor.frame])
            ramps = [each for each in recipe.ramps if each.parameter != parameter]
            ramps.append(replace(new, anchors=tuple(in_order), along=along.id))
            return _holding(recipe, parameter, in_order[0].value, ramps)

        return self._bench.share(span.members, revise, note=note, along={s.id: s for s in span.along})

    def _check_anchors(self, ramp: Ramp, along: Selection, where: str) -> None:
        strange = [a.frame for a in ramp.anchors if a.frame not in along.moments]
        if strange:
            frame = self._bench.books.catalogue.frames_by_id(strange).get(strange[0])
            name = shown(frame.name) if frame else strange[0]
            raise UsageError(
                f"{name} is not among the frames that the ramp runs along.",
                hint=f"{NOTHING} `noctuary recipe ramp extend {shown(where)}` takes later frames in first.",
            )
        moments = [along.moments[a.frame] for a in ramp.anchors]
        if len(set(moments)) != len(moments):
            raise UsageError("Two anchors would stand at the same time.", hint=NOTHING)

    def _at(self, where: str, word: str) -> Frame:
        text = word.strip()
        if not text.startswith("#"):
            return self._bench.one(text)
        run = where.partition("#")[0]
        return find(self._bench.books.catalogue, f"{run}{text}").frames[0]

    def _declared(self, parameter: str) -> Parameter:
        name, _, own = parameter.partition(".")
        if name == FINISH:
            raise UsageError(
                "The finish is the same for all frames of a sequence: its steps cannot ramp.",
                hint=f"{NOTHING} An operator of the base ramps, as sharpness.amount.",
            )
        declared = operator.declaration(name).parameter(own)
        if declared is None:
            # Raises, and lists what there is.
            operator.parse_setting(parameter, "0")
        if declared is None or not declared.ramp:
            raise UsageError(
                f"{shown(parameter)} cannot ramp: {_why_not(declared)}.",
                hint=f"{NOTHING} `noctuary recipe set --shared` sets one value for all frames.",
            )
        return declared


def _why_not(declared: Parameter | None) -> str:
    if declared is None or declared.is_choice:
        return "it is a choice of words, and there is nothing between two of them"
    if declared.frames:
        return "it is a list of frames, and there is nothing between two of them"
    return f"its {declared.default:g} means none at all, and just above it lie values of quite another kind"


def rounding_of(parameter: Parameter) -> float:
    """To what a ramp's values are rounded: a hundredth of the parameter's step at most, a power of ten."""
    return float(10.0 ** math.floor(math.log10(parameter.step / 100)))


def _holding(recipe: Recipe, parameter: str, value: float, ramps: Sequence[Ramp]) -> Recipe:
    """The recipe with a stored value under the ramp; an operator that did nothing is told what it implies."""
    name, _, own = parameter.partition(".")
    held = recipe.operator(name)
    if held is None:
        step = operator.checked(name, {own: value})
    elif operator.is_neutral(held):
        step = operator.changed(held, {own: value})
    else:
        step = replace(held, values={**held.values, own: value})
    base = (*(each for each in recipe.base if each.name != name), step)
    return replace(recipe, base=base, ramps=tuple(sorted(ramps, key=lambda each: each.parameter)))


def _no_ramp(where: str, parameter: str) -> UsageError:
    return UsageError(
        f"{shown(parameter)} does not ramp in {shown(where)}.",
        hint=f"{NOTHING} `noctuary recipe ramp add` begins a ramp.",
    )


def _held(ramp: Ramp | None, parameter: str) -> dict[str, float]:
    assert ramp is not None, parameter
    return {anchor.frame: anchor.value for anchor in ramp.anchors}


def _anchors(held: dict[str, float]) -> tuple[Anchor, ...]:
    return tuple(Anchor(frame=frame, value=value) for frame, value in held.items())


def _value(parameter: str, text: str) -> float:
    value = operator.parse_setting(parameter, text)[2]
    assert not isinstance(value, str)
    return float(value)


def _rule(text: str | None) -> str | None:
    if text is not None and text not in RULES:
        raise UsageError(
            f"{shown(text)} is no rule of a ramp.", hint=f"{NOTHING} It is {' or '.join(RULES)}."
        )
    return text


def _no_anchor(name: str, parameter: str) -> UsageError:
    return UsageError(
        f"{parameter} has no anchor at {shown(name)}.",
        hint=f"{NOTHING} `noctuary recipe ramp show SEQUENCE` lists the anchors.",
    )
