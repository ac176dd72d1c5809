"""How an operator is declared: once, with its parameters, units, ranges and help; nothing is computed here.

Everything else (checks, commands, forms, schema, documentation, ramps, tests) derives from the
declaration. How an operator is lowered to a pass lives in ``kernels`` and ``pipeline``.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any, ClassVar, TypeVar, cast

from archive.model.recipe import Value

_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")


class Unit(StrEnum):
    """What a number counts, as it is written behind it."""

    EV = "EV"
    KELVIN = "K"
    DUV = "Duv"
    DEGREE = "°"
    SIGMA = "σ"
    SHARE = "of the side"
    RATIO = ":1"
    FACTOR = "×"
    PERMILLE = "‰ of the diagonal"
    NONE = ""


class Family(StrEnum):
    """Families of operators, in the order in which the engine applies them."""

    SENSOR = "sensor"
    LENS = "lens"
    FRAMING = "framing"
    COLOUR = "colour"
    NOISE = "noise"
    TONE = "tone"
    SHARPNESS = "sharpness"


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One value of an operator.

    ``scale`` is the scale on which ramps and sliders move evenly (``linear`` or ``reciprocal``);
    ``ramp`` says whether it may change along a sequence, else it is held. Numbers have ``low``,
    ``high`` and ``step``; a text value has ``choices`` instead. ``frames`` marks a text that is a list of
    frame ids, in order and one blank apart: other masters that the picture is made from.
    """

    name: str
    default: Value
    unit: Unit
    low: float
    high: float
    step: float
    scale: str
    ramp: bool
    help: str
    choices: tuple[str, ...] = ()
    frames: bool = False

    @property
    def is_choice(self) -> bool:
        return bool(self.choices)


@dataclass(frozen=True, kw_only=True)
class Declaration:
    """One version of an operator as everything else sees it.

    ``finish`` says whether it may also be used, repeatedly, as a finish step;
    ``mosaic_only`` whether it works on the samples of a Bayer mosaic, and on no other frame;
    ``strength`` names the parameters that leave the picture untouched when all are at their defaults.
    """

    name: str
    version: int
    family: Family
    finish: bool
    mosaic_only: bool
    strength: tuple[str, ...]
    title: str
    help: str
    parameters: tuple[Parameter, ...]
    make: type[Operator]

    def parameter(self, name: str) -> Parameter | None:
        return next((each for each in self.parameters if each.name == name), None)


class Operator:
    """Base of every operator; subclasses are turned into frozen dataclasses by ``@operator``."""

    declared: ClassVar[Declaration]

    @classmethod
    def infer(cls, given: Mapping[str, Value]) -> dict[str, Value]:
        """Values that what was given plainly implies; operators with a mode override this."""
        return dict(given)

    @classmethod
    def fault(cls, values: Mapping[str, Value]) -> str | None:  # noqa: ARG003 - for those that override it
        """What is wrong with values that are each in range and together make no picture; None if nothing.

        Operators whose parameters bound each other override this. ``values`` are complete.
        """
        return None

    def __init__(self, **values: Value) -> None:
        raise TypeError(f"{type(self).__name__} is not declared, so it takes no {', '.join(values)}")


registry: dict[tuple[str, int], Declaration] = {}
"""Every declared operator by (name, version)."""


def param(
    default: Value,
    *,
    unit: Unit = Unit.NONE,
    low: float = 0.0,
    high: float = 0.0,
    step: float = 0.01,
    scale: str = "linear",
    ramp: bool = True,
    help: str,
    choices: tuple[str, ...] = (),
) -> Any:
    """A parameter of an operator, for use as a class attribute's value."""
    if scale not in ("linear", "reciprocal"):
        raise ValueError(f"a parameter's scale is linear or reciprocal, not {scale}")
    about = {
        "unit": unit, "low": low, "high": high, "step": step, "scale": scale,
        "ramp": ramp and not choices, "help": help, "choices": choices,
    }  # fmt: skip
    return field(default=default, metadata=about)


def frame_list(*, help: str) -> Any:
    """A parameter of an operator that names other frames by their ids; none unless they are given."""
    about = {
        "unit": Unit.NONE, "low": 0.0, "high": 0.0, "step": 1.0, "scale": "linear", "ramp": False,
        "help": help, "choices": (), "frames": True,
    }  # fmt: skip
    return field(default="", metadata=about)


Made = TypeVar("Made", bound=Operator)


def operator(
    name: str,
    *,
    version: int = 1,
    family: Family,
    finish: bool = False,
    mosaic_only: bool = False,
    strength: tuple[str, ...] = (),
    into: dict[tuple[str, int], Declaration] | None = None,
) -> Callable[[type[Made]], type[Made]]:
    """Freeze a class and register it as one version of an operator.

    ``into`` is the registry to enter it in, the engine's own unless a test brings another.

    Raises
    ------
    ValueError : for a duplicate, a missing docstring or help, a default outside its own range.
    """

    def declare(kind: type[Made]) -> type[Made]:
        known = registry if into is None else into
        if not _NAME.fullmatch(name):
            raise ValueError(f"{name!r} is no operator name: lower-case words joined by underscores")
        if (name, version) in known:
            raise ValueError(f"operator {name} version {version} is declared twice")
        if not (kind.__dict__.get("__doc__") or "").strip():
            raise ValueError(f"operator {name} has no docstring")
        frozen = dataclass(frozen=True, kw_only=True)(kind)
        parameters = tuple(_parameter(name, each) for each in fields(cast(Any, frozen)))
        names = {each.name for each in parameters}
        if not set(strength) <= names:
            raise ValueError(f"operator {name}: strength names unknown parameters")
        title, _, rest = inspect.cleandoc(kind.__doc__ or "").partition("\n")
        declaration = Declaration(
            name=name, version=version, family=family, finish=finish, mosaic_only=mosaic_only,
            strength=strength or tuple(each.name for each in parameters),
            title=title.rstrip("."), help=rest.strip(), parameters=parameters, make=frozen,
        )  # fmt: skip
        frozen.declared = declaration
        known[name, version] = declaration
        return frozen

    return declare


def _parameter(operator_name: str, each: Any) -> Parameter:
    about = each.metadata
    where = f"{operator_name}.{each.name}"
    if "help" not in about or not about["help"].strip():
        raise ValueError(f"{where} is declared without help")
    parameter = Parameter(name=each.name, default=each.default, **about)
    if parameter.is_choice:
        if parameter.default not in parameter.choices:
            raise ValueError(f"{where}: its default {parameter.default!r} is none of its choices")
    elif not parameter.frames and not parameter.low <= float(parameter.default) <= parameter.high:
        raise ValueError(f"{where}: its default {parameter.default} is outside its own range")
    return parameter
