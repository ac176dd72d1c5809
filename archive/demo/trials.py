"""Every operator tried on a frame, low, mid and high: whole pictures, or close looks at what is fine."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from archive.demo import closeups, lenses
from archive.demo.closeups import Corner
from archive.demo.exhibits import Exhibit
from archive.engine import framing, operator
from archive.engine.declaration import Declaration, Parameter
from archive.engine.decode import Decoded
from archive.engine.foundation import current_foundation
from archive.engine.keptplanes import KeptPlanes
from archive.engine.pipeline import render, render_linear
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues, Value

_ONE_WAY = (0.20, 0.45, 0.90)
_TWO_WAYS = (-0.25, 0.15, 0.40)
# What is as fine as a pixel is lost in smaller pictures, and shown in small parts of the frame, enlarged.
_FINE = ("hot_pixels", "lateral_colour", "luminance_noise", "colour_noise", "sharpness")
_SHARPENED = 2.0
_COOL = 8.0
_DRAWN_SIZE = 2400
_WITHOUT = "without"


@dataclass(frozen=True, kw_only=True)
class Made:
    """A finished picture, uint8 (H, W, 3): what to call it, and what it is. One name is one picture."""

    name: str
    label: str
    picture: Any


@dataclass(frozen=True, kw_only=True)
class Series:
    """Pictures to see side by side, weakest first: of one place in the frame, or of all of it ("")."""

    made: tuple[Made, ...]
    place: str = ""


def steps(declared: Declaration) -> tuple[tuple[str, Mapping[str, Value]], ...]:
    """A low, a mid and a high setting of an operator's first strength, as ``("low 0.5 EV", values)``.

    A strength whose neutral value lies at an end of its range is tried at 20, 45 and 90 % of the way to the
    other end; one that runs both ways a quarter down, and 15 and 40 % up. A choice is tried with each answer,
    what undoes a lens at a third, two thirds and the whole of what undoes the lens of ``lenses.DRAWN``.
    """
    if declared.name in lenses.DRAWN:
        return lenses.undoing(declared.name)
    named = [declared.parameter(name) for name in declared.strength]
    numbers = [each for each in named if each is not None and not each.is_choice and not each.frames]
    if not numbers:
        numbers = [each for each in declared.parameters if not each.is_choice and not each.frames]
    if not numbers:
        choice = declared.parameters[0]
        return tuple((str(answer), {choice.name: answer}) for answer in choice.choices)
    parameter = numbers[0]
    made = []
    for word, value in zip(("low", "mid", "high"), _values(parameter), strict=True):
        number = f"{value:.4g}".replace("-", "−")
        unit = parameter.unit.value
        made.append((f"{word}: {parameter.name} {number} {unit}".rstrip(), {parameter.name: value}))
    return tuple(made)


def _values(parameter: Parameter) -> tuple[float, float, float]:
    turned = parameter.scale == "reciprocal"

    def even(value: float) -> float:
        return 1 / value if turned else value

    neutral = even(float(parameter.default))
    low, high = even(parameter.low), even(parameter.high)
    one_way = parameter.default in (parameter.low, parameter.high)
    far = low if parameter.default == parameter.high else high
    values = []
    for share in _ONE_WAY if one_way else _TWO_WAYS:
        end = low if share < 0 else far
        value = even(neutral + abs(share) * (end - neutral))
        counted = parameter.low + round((value - parameter.low) / parameter.step) * parameter.step
        values.append(round(min(parameter.high, max(parameter.low, counted)), 6))
    return values[0], values[1], values[2]


def shown_operators() -> tuple[Declaration, ...]:
    """Every operator but those that need frames of one's own beside the one they work on."""
    return tuple(each for each in operator.declarations() if not any(p.frames for p in each.parameters))


def looks_of(declared: Declaration) -> tuple[tuple[str, OperatorValues], ...]:
    """The operator itself at each of its steps."""
    return tuple((label, operator.checked(declared.name, values)) for label, values in steps(declared))


def _last(tried: tuple[tuple[str, OperatorValues], ...]) -> str:
    return tried[-1][0].partition(": ")[2]


class Trial:
    """One frame to try operators on.

    Parameters
    ----------
    pixels : of the whole pictures.
    exhibit : which of the demo's frames it is; None for one of which nothing is known.
    """

    def __init__(self, decoded: Decoded, pixels: PixelSpec, exhibit: Exhibit | None = None) -> None:
        self._decoded, self._pixels, self._exhibit = decoded, pixels, exhibit
        self._kept = KeptPlanes()
        stops = exhibit.stops if exhibit else 0.0
        self._brighter = (operator.checked("exposure", {"stops": stops}),) if stops else ()

    @property
    def sides(self) -> tuple[int, int]:
        """Width and height of the upright frame in pixels."""
        height, width = self._decoded.pixels.shape[:2]
        view = framing.view_of(
            width, height, aspect=self._decoded.aspect, orientation=self._decoded.orientation,
            straighten=None, crop=None, pixels=PixelSpec(fit=None),
        )  # fmt: skip
        return view.columns, view.rows

    def whole(self, base: tuple[OperatorValues, ...]) -> Any:
        """The frame with these operators, fitted into the box."""
        return self._rendered(self._decoded, base, self._pixels)

    def close(self, base: tuple[OperatorValues, ...]) -> tuple[tuple[Series, ...], str]:
        """Parts of the frame before and after these operators, and what is to be said of them."""
        pictures = [(_WITHOUT, "before", self._without), ("after", "after", self._exact(self._decoded, base))]
        return _cut(self._worth_it(self._without), pictures), self._enlarged()

    def of(self, declared: Declaration) -> tuple[tuple[Series, ...], str]:
        """An operator's pictures, and what is to be said of them."""
        tried, of, notes = looks_of(declared), self._decoded, []
        if declared.name in lenses.DRAWN:
            of = Decoded(pixels=lenses.drawn(self._light, declared.name))
            notes.append(f"The frame was first drawn as by a lens of {_last(tried)}, which high undoes.")
        if declared.name == "sharpness":
            height, width = of.pixels.shape[:2]
            radius = min(5.0, max(0.1, round(1000 * _SHARPENED / math.hypot(width, height), 2)))
            tried = tuple((label, operator.changed(values, {"radius": radius})) for label, values in tried)
            notes.append(f"Its radius is {radius:g} ‰ here, {_SHARPENED:g} pixels of this frame.")
        series, told = (self._close if declared.name in _FINE else self._wide)(declared, tried, of)
        return series, " ".join([*notes, *told])

    def _wide(
        self, declared: Declaration, tried: tuple[tuple[str, OperatorValues], ...], of: Decoded
    ) -> tuple[tuple[Series, ...], list[str]]:
        bases: list[tuple[str, str, tuple[OperatorValues, ...]]] = []
        if of is not self._decoded:
            bases.append((f"{declared.name}-0", _WITHOUT, ()))
        bases += [(f"{declared.name}-{n}", label, (values,)) for n, (label, values) in enumerate(tried, 1)]
        made = tuple(
            Made(name=name, label=label, picture=self._rendered(of, base, self._pixels))
            for name, label, base in bases
        )
        return (Series(made=made),), []

    def _close(
        self, declared: Declaration, tried: tuple[tuple[str, OperatorValues], ...], of: Decoded
    ) -> tuple[tuple[Series, ...], list[str]]:
        own = of is self._decoded
        without = self._without if own else self._exact(of, ())
        made = [(label, self._exact(of, (values,))) for label, values in tried]
        places = self._places(declared, without, [picture for _, picture in made])
        if not places:
            return (), ["It changes nothing in this frame."]
        before = _WITHOUT if own else f"{declared.name}-0"
        pictures = [(before, _WITHOUT, without)]
        pictures += [(f"{declared.name}-{n}", label, picture) for n, (label, picture) in enumerate(made, 1)]
        return _cut(places, pictures), [self._enlarged()]

    def _places(self, declared: Declaration, without: Any, made: list[Any]) -> Mapping[str, Corner]:
        if declared.name in lenses.DRAWN:
            return closeups.far_out(without)
        if declared.name == "hot_pixels":
            return closeups.changed(without, made)
        if all(np.array_equal(without, each) for each in made):
            return {}
        return self._worth_it(without)

    def _worth_it(self, picture: Any) -> Mapping[str, Corner]:
        if self._exhibit is None:
            return closeups.found(picture)
        return {name: closeups.around(picture, *at) for name, at in self._exhibit.places.items()}

    def _enlarged(self) -> str:
        brightened = [f", and brightened by {each.values['stops']:g} EV" for each in self._brighter]
        return f"Parts are {closeups.ENLARGED} times enlarged, every square one pixel{''.join(brightened)}."

    @cached_property
    def _light(self) -> lenses.Light:
        fit = PixelSpec(fit=(_DRAWN_SIZE, _DRAWN_SIZE))
        # A glowing sample is brighter than any edge, and no lens draws it.
        cooled = (operator.checked("hot_pixels", {"reach": _COOL}),)
        return render_linear(self._decoded, _recipe(cooled), fit, threads=_threads())

    @cached_property
    def _without(self) -> Any:
        return self._exact(self._decoded, ())

    def _exact(self, of: Decoded, base: tuple[OperatorValues, ...]) -> Any:
        if self._brighter:
            base = (*(each for each in base if each.name != "exposure"), *self._brighter)
        return self._rendered(of, base, PixelSpec(fit=None))

    def _rendered(self, of: Decoded, base: tuple[OperatorValues, ...], pixels: PixelSpec) -> Any:
        return render(of, _recipe(base), pixels, threads=_threads(), kept=self._kept)


def _cut(places: Mapping[str, Corner], pictures: list[tuple[str, str, Any]]) -> tuple[Series, ...]:
    """The same places in pictures, given as (name, label, picture)."""
    return tuple(
        Series(
            place=place,
            made=tuple(
                Made(name=f"{name}-{corner[0]}-{corner[1]}", label=label, picture=closeups.cut(each, corner))
                for name, label, each in pictures
            ),
        )
        for place, corner in places.items()
    )


def _threads() -> int:
    return max(1, os.cpu_count() or 1)


def _recipe(base: tuple[OperatorValues, ...]) -> EffectiveRecipe:
    return EffectiveRecipe(foundation=current_foundation(), base=base)
