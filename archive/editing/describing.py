"""The operators that recipes are made of, described for people."""

from __future__ import annotations

from archive.engine import operator
from archive.engine.declaration import Parameter
from archive.model.listing import OperatorHelp, ParameterHelp


def describe_operators(name: str | None = None) -> list[OperatorHelp]:
    """The operators that recipes are made of, or the one named.

    Raises
    ------
    UsageError : when there is none of that name.
    """
    chosen = operator.declarations() if name is None else (operator.declaration(name),)
    return [
        OperatorHelp(
            name=each.name,
            version=each.version,
            older=operator.older_versions(each.name),
            family=str(each.family),
            summary=each.title,
            parameters=tuple(_parameter(parameter) for parameter in each.parameters),
            help=each.help,
            finish=each.finish,
            mosaic_only=each.mosaic_only,
            schema=operator.json_schema(each.name),
        )
        for each in chosen
    ]


def _parameter(parameter: Parameter) -> ParameterHelp:
    is_number = not (parameter.is_choice or parameter.frames)
    return ParameterHelp(
        name=parameter.name,
        range=_range(parameter),
        help=parameter.help,
        neutral=parameter.default,
        unit=str(parameter.unit),
        low=parameter.low if is_number else None,
        high=parameter.high if is_number else None,
        step=parameter.step if is_number else None,
        choices=parameter.choices,
        frames=parameter.frames,
        ramp=parameter.ramp,
        scale=parameter.scale,
    )


def _range(parameter: Parameter) -> str:
    if parameter.is_choice:
        return f"one of {', '.join(parameter.choices)}; neutral {parameter.default}"
    if parameter.frames:
        return "frames; none by default"
    low, high, neutral = (
        operator.worded(parameter, value, sign=True)
        for value in (parameter.low, parameter.high, parameter.default)
    )
    return f"{low} to {high}; neutral {neutral}"
