"""Recipes: what was decided about how frames are developed, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from archive.model.identity import canonical, frozen, is_frame_id, sha256_id

Value = float | int | str | bool

FINISH = "finish"
"""How the whole finish is named where operators are."""
LENS_OPERATORS = ("distortion", "lateral_colour", "fall_off")
"""Operators whose values are a lens's own profile, measured or found; all of them are in the recipe."""


@dataclass(frozen=True, kw_only=True)
class OperatorValues:
    """One operator with every one of its values; nothing is implied.

    ``values`` are in the units of the operator's declaration.
    """

    name: str
    version: int
    values: Mapping[str, Value]

    def __hash__(self) -> int:
        return hash((self.name, self.version, frozen(self.values)))

    def to_json(self) -> dict[str, Any]:
        return {"operator": self.name, "version": self.version, "values": dict(self.values)}

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> OperatorValues:
        return OperatorValues(
            name=document["operator"], version=document["version"], values=dict(document["values"])
        )


@dataclass(frozen=True, kw_only=True)
class FinishItem:
    """One step of the ordered finish; an operator may come again under another id."""

    id: str
    on: bool
    step: OperatorValues

    def to_json(self) -> dict[str, Any]:
        return {"id": self.id, "on": self.on, **self.step.to_json()}

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> FinishItem:
        return FinishItem(id=document["id"], on=document["on"], step=OperatorValues.from_json(document))


@dataclass(frozen=True, kw_only=True)
class Foundation:
    """What stands under every operator: how bytes become scene light. Part of every version."""

    decoder: str
    demosaic: str
    matrix: str
    generation: int

    def to_json(self) -> dict[str, Any]:
        return {
            "decoder": self.decoder,
            "demosaic": self.demosaic,
            "matrix": self.matrix,
            "generation": self.generation,
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> Foundation:
        return Foundation(
            decoder=document["decoder"],
            demosaic=document["demosaic"],
            matrix=document["matrix"],
            generation=document["generation"],
        )


@dataclass(frozen=True, kw_only=True)
class Anchor:
    """A frame where a ramped value is set."""

    frame: str
    value: float


@dataclass(frozen=True, kw_only=True)
class Ramp:
    """A value that changes along the selection of its version.

    ``parameter`` is ``operator.parameter``; ``rule`` is ``linear`` or ``monotone-cubic``; ``scale``
    the parameter's natural scale (``linear``, ``reciprocal``); results are rounded to ``rounding``.
    ``along`` is the selection it runs along, None where that is the selection of its own version: a part of
    a ramped sequence that is developed apart keeps the ramp as it was.
    """

    parameter: str
    rule: str
    scale: str
    rounding: float
    anchors: tuple[Anchor, ...]
    along: str | None = None

    def __post_init__(self) -> None:
        if not self.anchors:
            raise ValueError(f"the ramp {self.parameter} has no anchors")
        if len({anchor.frame for anchor in self.anchors}) != len(self.anchors):
            raise ValueError(f"the ramp {self.parameter} has two anchors at one frame")
        if self.scale == "reciprocal" and any(anchor.value == 0 for anchor in self.anchors):
            raise ValueError(f"the ramp {self.parameter} is reciprocal and has an anchor at 0")

    def to_json(self) -> dict[str, Any]:
        return {
            "parameter": self.parameter,
            "rule": self.rule,
            "scale": self.scale,
            "rounding": self.rounding,
            "anchors": [{"frame": anchor.frame, "value": anchor.value} for anchor in self.anchors],
            **({} if self.along is None else {"along": self.along}),
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> Ramp:
        return Ramp(
            parameter=document["parameter"],
            rule=document["rule"],
            scale=document["scale"],
            rounding=document["rounding"],
            anchors=tuple(Anchor(frame=a["frame"], value=a["value"]) for a in document["anchors"]),
            along=document.get("along"),
        )


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """How frames are developed.

    ``base`` holds each operator at most once, the engine fixes their order; ``finish`` is ordered, and
    None where this recipe says nothing about it (an empty finish says: no finish).
    """

    foundation: Foundation
    base: tuple[OperatorValues, ...] = ()
    finish: tuple[FinishItem, ...] | None = None
    ramps: tuple[Ramp, ...] = ()

    def __post_init__(self) -> None:
        names = [step.name for step in self.base]
        if len(set(names)) != len(names):
            raise ValueError("a recipe's base holds each operator at most once")
        object.__setattr__(self, "base", tuple(sorted(self.base, key=lambda step: step.name)))
        ids = [item.id for item in self.finish or ()]
        if len(set(ids)) != len(ids):
            raise ValueError("a recipe's finish holds each id at most once")
        held = {f"{step.name}.{parameter}" for step in self.base for parameter in step.values}
        strange = next((ramp.parameter for ramp in self.ramps if ramp.parameter not in held), None)
        if strange is not None:
            raise ValueError(f"the ramp {strange} changes nothing that the recipe's base holds")
        if len({ramp.parameter for ramp in self.ramps}) != len(self.ramps):
            raise ValueError("a recipe ramps each parameter at most once")

    @property
    def says_nothing(self) -> bool:
        """No operator and nothing about the finish: what stands where a first version was taken back."""
        return not self.base and self.finish is None

    @property
    def parts(self) -> tuple[str, ...]:
        """What it speaks about: its operators, and the finish if it says something about it."""
        return (*(step.name for step in self.base), *(() if self.finish is None else (FINISH,)))

    def operator(self, name: str) -> OperatorValues | None:
        return next((step for step in self.base if step.name == name), None)

    def ramp(self, parameter: str) -> Ramp | None:
        return next((ramp for ramp in self.ramps if ramp.parameter == parameter), None)

    def to_json(self) -> dict[str, Any]:
        return {
            "foundation": self.foundation.to_json(),
            "base": [step.to_json() for step in self.base],
            "finish": None if self.finish is None else [item.to_json() for item in self.finish],
            "ramps": [ramp.to_json() for ramp in self.ramps],
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> Recipe:
        finish = document["finish"]
        return Recipe(
            foundation=Foundation.from_json(document["foundation"]),
            base=tuple(OperatorValues.from_json(step) for step in document["base"]),
            finish=None if finish is None else tuple(FinishItem.from_json(item) for item in finish),
            ramps=tuple(Ramp.from_json(ramp) for ramp in document["ramps"]),
        )


@dataclass(frozen=True, kw_only=True)
class HouseRecipe:
    """A recipe that is kept under a name to start from; it has no foundation: that is its frame's own.

    ``finish`` is None where it says nothing about the finish.
    """

    name: str
    about: str
    base: tuple[OperatorValues, ...]
    finish: tuple[FinishItem, ...] | None = None

    def __post_init__(self) -> None:
        names = [step.name for step in self.base]
        ids = [item.id for item in self.finish or ()]
        if len(set(names)) != len(names) or len(set(ids)) != len(ids):
            raise ValueError("a house recipe holds each operator of its base, and each finish id, once")

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "about": self.about,
            "base": [step.to_json() for step in self.base],
            "finish": None if self.finish is None else [item.to_json() for item in self.finish],
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> HouseRecipe:
        finish = document["finish"]
        return HouseRecipe(
            name=str(document["name"]),
            about=str(document["about"]),
            base=tuple(OperatorValues.from_json(step) for step in document["base"]),
            finish=None if finish is None else tuple(FinishItem.from_json(item) for item in finish),
        )


@dataclass(frozen=True, kw_only=True)
class EffectiveRecipe:
    """What one frame is really developed with: ramps evaluated, off items left out.

    ``origins`` says where each part came from (operator name, or ``finish`` → entry id); it is
    told to people and is no part of identity.
    """

    foundation: Foundation
    base: tuple[OperatorValues, ...] = ()
    finish: tuple[OperatorValues, ...] = ()
    origins: Mapping[str, str] = field(default_factory=dict, compare=False)

    def lens_digest(self) -> str | None:
        """Digest of what the operators say of the lens; None when they say nothing of it."""
        steps = [step.to_json() for step in self.base if step.name in LENS_OPERATORS]
        return sha256_id(canonical(["lens", steps])) if steps else None

    def other_frames(self) -> tuple[str, ...]:
        """Ids of frames that the operators name, in their order: further inputs beside the frame itself."""
        texts = [v for step in (*self.base, *self.finish) for v in step.values.values() if isinstance(v, str)]
        words = [word for text in texts for word in text.split()]
        return tuple(dict.fromkeys(word for word in words if is_frame_id(word)))

    def to_json(self) -> dict[str, Any]:
        return {
            "foundation": self.foundation.to_json(),
            "base": [step.to_json() for step in self.base],
            "finish": [step.to_json() for step in self.finish],
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> EffectiveRecipe:
        return EffectiveRecipe(
            foundation=Foundation.from_json(document["foundation"]),
            base=tuple(OperatorValues.from_json(step) for step in document["base"]),
            finish=tuple(OperatorValues.from_json(step) for step in document["finish"]),
        )
