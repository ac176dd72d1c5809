"""What can be decided about a frame: look operators up, check values, put changes in words.

Nothing here or in the declarations imports numpy, so that help and checks stay quick.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from typing import Any

from archive.engine import operators
from archive.engine.declaration import Declaration, Operator, Parameter, Unit, registry
from archive.errors import ArchiveError, UsageError
from archive.model.identity import is_frame_id
from archive.model.recipe import OperatorValues, Value

_FAMILY_ORDER = {family.__name__.rpartition(".")[2]: place for place, family in enumerate(operators.FAMILIES)}
_NUMBER = re.compile(r"([+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
_FRAME_LIST = "^(xxh128:[0-9a-f]{32}( xxh128:[0-9a-f]{32})*)?$"
_SUFFIXES = {
    Unit.EV: ("ev", "stops", "stop"),
    Unit.KELVIN: ("k", "kelvin"),
    Unit.DUV: ("duv",),
    Unit.DEGREE: ("°", "deg", "degrees"),
    Unit.SIGMA: ("σ", "sigma"),
    Unit.SHARE: ("%",),
    Unit.RATIO: (":1",),
    Unit.FACTOR: ("×", "x"),
    Unit.PERMILLE: ("‰",),
    Unit.NONE: (),
}


def declarations() -> tuple[Declaration, ...]:
    """The newest version of every operator, in the order of families, then by name."""
    newest: dict[str, Declaration] = {}
    for (name, version), each in registry.items():
        if name not in newest or version > newest[name].version:
            newest[name] = each
    return tuple(sorted(newest.values(), key=lambda each: (_FAMILY_ORDER[each.family], each.name)))


def declaration(name: str, version: int | None = None) -> Declaration:
    """One operator's declaration, the newest unless a version is given.

    Raises
    ------
    UsageError : no operator has this name; the message offers the nearest.
    ArchiveError : the operator exists, this version of it does not.
    """
    versions = [number for known, number in registry if known == name]
    if not versions:
        nearest = _near(name, [known for known, _ in registry])
        raise UsageError(f"There is no operator {name!r}{nearest}.", hint="Nothing was changed.")
    if version is not None and version not in versions:
        raise ArchiveError(
            f"This release has no version {version} of the operator {name}.",
            hint="Nothing was changed; a newer release is needed to render it.",
        )
    return registry[name, max(versions) if version is None else version]


def instance(values: OperatorValues) -> Operator:
    """The operator itself, of the version and with the values that a recipe states.

    Raises
    ------
    ArchiveError : the operator, its version or one of its values is unknown to this release.
    """
    known = registry.get((values.name, values.version))
    if known is None:
        raise ArchiveError(
            f"This release does not know the operator {values.name} version {values.version}.",
            hint="The recipe and the master are untouched; a newer release is needed to render it.",
        )
    names = {parameter.name for parameter in known.parameters}
    if set(values.values) != names:
        odd = ", ".join(sorted(set(values.values) ^ names))
        raise ArchiveError(
            f"The values of {values.name} version {values.version} do not match its declaration: {odd}.",
            hint="The recipe and the master are untouched; save the recipe again with this release.",
        )
    return known.make(**values.values)


def checked(name: str, values: Mapping[str, Value], *, version: int | None = None) -> OperatorValues:
    """An operator's values, complete with defaults and found to be in range.

    Raises
    ------
    UsageError : unknown operator or parameter (near names are offered), wrong kind of value, out of range.
    ArchiveError : values that are in range and together make no picture.
    """
    known = declaration(name, version)
    for given in values:
        _parameter(known, given)
    implied = known.make.infer(values)
    complete = {
        each.name: _fitting(known, each, implied.get(each.name, each.default)) for each in known.parameters
    }
    found = OperatorValues(name=name, version=known.version, values=complete)
    told = fault(found)
    if told is not None:
        raise ArchiveError(told, hint="Nothing was changed.")
    return found


def fault(values: OperatorValues) -> str | None:
    """What is wrong with complete values that are each in range, as a sentence; None where nothing is.

    Of what this release does not know it cannot tell.
    """
    known = registry.get((values.name, values.version))
    if known is None or set(values.values) != {parameter.name for parameter in known.parameters}:
        return None
    told = known.make.fault(values.values)
    return None if told is None else f"{known.name}: {told}."


def bounds_itself(name: str, version: int) -> bool:
    """Whether an operator's parameters bound each other, so that values in range may be at fault together."""
    known = registry.get((name, version))
    return known is not None and "fault" in vars(known.make)


def named_frames(values: OperatorValues) -> tuple[str, ...]:
    """Ids of the frames that an operator's values name."""
    known = registry.get((values.name, values.version))
    lists = [p.name for p in known.parameters if p.frames] if known else []
    return tuple(each for name in lists for each in str(values.values.get(name, "")).split())


def changed(old: OperatorValues, values: Mapping[str, Value]) -> OperatorValues:
    """The operator with some values replaced, checked; what is not named stays."""
    known = declaration(old.name, old.version)
    return checked(old.name, {**old.values, **known.make.infer(values)}, version=old.version)


def renewed(old: OperatorValues) -> OperatorValues:
    """The newest version of an operator, with the values of an older one as far as it has them.

    Raises
    ------
    ArchiveError : the operator or its version is of a newer release.
    UsageError : a value is outside what the newest version takes.
    """
    instance(old)
    newest = declaration(old.name)
    if newest.version == old.version:
        return old
    return checked(old.name, {name: value for name, value in old.values.items() if newest.parameter(name)})


def older_versions(name: str) -> tuple[int, ...]:
    """The versions of an operator before its newest, which recipes may still hold."""
    return tuple(sorted(number for known, number in registry if known == name)[:-1])


def parse_setting(setting: str, text: str) -> tuple[str, str, Value]:
    """Operator, parameter and value of a setting as a person types it.

    Parameters
    ----------
    setting : ``operator.parameter``, as ``exposure.stops``.
    text : a number with or without its unit (``0.5``, ``0.5EV``, ``4200K``, ``16:9``, ``5%``), or a choice.

    Raises
    ------
    UsageError : the setting is unknown, or the text is no value of it.
    """
    name, dot, wanted = setting.partition(".")
    if not dot or not wanted:
        raise UsageError(f"{setting!r} is no setting.", hint="Write operator.parameter, as exposure.stops.")
    known = declaration(name)
    parameter = _parameter(known, wanted)
    where = f"{name}.{parameter.name}"
    if parameter.is_choice:
        return name, parameter.name, _fitting(known, parameter, text.strip().lower().replace("-", "_"))
    if parameter.frames:
        return name, parameter.name, _fitting(known, parameter, text)
    shape = re.fullmatch(r"\s*(\d+\.?\d*)\s*[:/]\s*(\d+\.?\d*)\s*", text)
    if parameter.unit is Unit.RATIO and shape and float(shape[2]) > 0:
        return name, parameter.name, _fitting(known, parameter, round(float(shape[1]) / float(shape[2]), 6))
    match = _NUMBER.fullmatch(text.strip())
    suffix = match[2].strip().lower() if match else ""
    if not match or (suffix and suffix not in _SUFFIXES[parameter.unit]):
        unit = f" in {parameter.unit}" if parameter.unit is not Unit.NONE else ""
        raise UsageError(f"{where}: {text!r} is not a number{unit}.", hint="Nothing was changed.")
    number = float(match[1].replace("−", "-"))
    if suffix == "%":
        number /= 100
    return name, parameter.name, _fitting(known, parameter, number)


def is_neutral(values: OperatorValues) -> bool:
    """Whether these values leave every picture exactly as it is."""
    known = declaration(values.name, values.version)
    defaults = {each.name: each.default for each in known.parameters}
    return all(values.values[name] == defaults[name] for name in known.strength)


def json_schema(name: str, version: int | None = None) -> dict[str, Any]:
    """JSON Schema (2020-12) of an operator's values."""
    known = declaration(name, version)
    properties: dict[str, Any] = {}
    for each in known.parameters:
        about: dict[str, Any] = {"description": each.help, "default": each.default}
        if each.is_choice:
            about |= {"type": "string", "enum": list(each.choices)}
        elif each.frames:
            about |= {"type": "string", "pattern": _FRAME_LIST}
        else:
            about |= {"type": "number", "minimum": each.low, "maximum": each.high}
            about["x-unit"] = str(each.unit)
        properties[each.name] = about
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": known.name,
        "description": known.title,
        "type": "object",
        "properties": properties,
        "required": [each.name for each in known.parameters],
        "additionalProperties": False,
    }


def worded(parameter: Parameter, value: Value, *, sign: bool = False) -> str:
    """A value with its unit, as it is shown: ``−0.50 EV``, ``4200 K``, ``as_shot``."""
    if isinstance(value, str):
        return _frames_worded(value) if parameter.frames else value
    number = float(value)
    if parameter.unit is Unit.SHARE:
        return f"{_decimals(number * 100, 0.1)} %"
    signed = sign and parameter.low < 0
    text = _decimals(number, parameter.step, signed=signed)
    unit = "‰" if parameter.unit is Unit.PERMILLE else str(parameter.unit)
    return f"{text}{'' if unit in ('', '°', ':1') else ' '}{unit}"


def describe_change(old: OperatorValues | None, new: OperatorValues | None) -> list[str]:
    """What differs between two states of one operator, as in ``exposure −0.50 → −0.83 stops``."""
    strange = next((each for each in (old, new) if each and (each.name, each.version) not in registry), None)
    if strange is not None:
        return [f"{strange.name} version {strange.version}, which needs a newer release"]
    if old is None or new is None:
        present = new if old is None else old
        if present is None:
            return []
        if new is None:
            return [f"{present.name} removed"]
        known = declaration(present.name, present.version)
        return [f"{called(known, each)} {told(each, present.values[each.name])}" for each in known.parameters]
    if old.version != new.version:
        return [f"{new.name} version {old.version} → {new.version}"]
    lines = []
    known = declaration(new.name, new.version)
    for each in known.parameters:
        before, after = old.values[each.name], new.values[each.name]
        if before != after:
            unit = "" if each.frames else told(each, before).rpartition(" ")[2]
            first = told(each, before).removesuffix(f" {unit}")
            lines.append(f"{called(known, each)} {first} → {told(each, after)}")
    return lines


def called(known: Declaration, parameter: Parameter) -> str:
    """A parameter as sentences name it: an operator's only one by the operator's name alone."""
    return known.name if len(known.parameters) == 1 else f"{known.name}.{parameter.name}"


def told(parameter: Parameter, value: Value) -> str:
    """A value with sign and unit as sentences tell it: ``−0.83 stops``, ``4200 K``."""
    words = worded(parameter, value, sign=True)
    return words.removesuffix(" EV") + " stops" if parameter.unit is Unit.EV else words


def in_words(values: OperatorValues) -> str:
    """One operator with all its values: ``exposure +0.50 stops``."""
    return "; ".join(describe_change(None, values))


def _decimals(number: float, step: float, *, signed: bool = False) -> str:
    places = max(0, math.ceil(-math.log10(step))) if step < 1 else 0
    places = max(places, 2) if 0.1 < step < 1 else places
    text = f"{abs(number):.{places}f}"
    if float(text) != abs(number) and float(f"{number:.6g}") == number:
        text = f"{abs(number):.6g}"
    prefix = "−" if number < 0 else ("+" if signed and number > 0 else "")
    return prefix + text


def _fitting(known: Declaration, parameter: Parameter, value: Value) -> Value:
    where = f"{known.name}.{parameter.name}"
    if parameter.is_choice:
        if value not in parameter.choices:
            nearest = _near(str(value), list(parameter.choices))
            offered = nearest or f"; it is one of {', '.join(parameter.choices)}"
            raise UsageError(f"{where}: {value!r} is no choice{offered}.", hint="Nothing was changed.")
        return value
    if parameter.frames:
        return _frame_ids(where, value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError(f"{where}: {value!r} is not a number.", hint="Nothing was changed.")
    if not math.isfinite(value) or not parameter.low <= value <= parameter.high:
        unit = "" if parameter.unit in (Unit.NONE, Unit.RATIO) else f" {parameter.unit}"
        unit = "°" if parameter.unit is Unit.DEGREE else unit
        raise UsageError(
            f"{where}: {value:g}{unit} is outside {parameter.low:g} to {parameter.high:g}{unit}",
            hint="",
        )
    return float(value)


def _frame_ids(where: str, value: Value) -> str:
    """Frame ids in order, each once, one blank apart: the same frames are the same text."""
    words = str(value).replace(",", " ").split()
    strange = next((word for word in words if not is_frame_id(word)), None)
    if strange is not None:
        raise UsageError(
            f"{where}: {strange!r} is no frame id.",
            hint="Nothing was changed. `noctuary darks FRAME DARK…` takes frames by their names.",
        )
    return " ".join(sorted(set(words)))


def _frames_worded(value: str) -> str:
    ids = value.split()
    count = "no frames" if not ids else f"{len(ids)} frame{'' if len(ids) == 1 else 's'}"
    return f"{count} ({', '.join(each.partition(':')[2][:8] for each in ids)})" if ids else count


def _parameter(known: Declaration, name: str) -> Parameter:
    parameter = known.parameter(name)
    if parameter is None:
        names = [each.name for each in known.parameters]
        nearest = _near(name, names) or f"; it has {', '.join(names)}"
        raise UsageError(f"{known.name} has no parameter {name!r}{nearest}.", hint="Nothing was changed.")
    return parameter


def _near(name: str, names: list[str]) -> str:
    found = difflib.get_close_matches(name, sorted(set(names)), n=3, cutoff=0.5)
    return f"; near it: {', '.join(found)}" if found else ""
