"""Any values that an operator may have, as its own declaration says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hypothesis import strategies as st

from archive.engine import operator
from archive.engine.declaration import Declaration, Parameter, registry
from archive.model.recipe import OperatorValues, Value

EVERY = sorted(registry)
"""Name and version of every operator."""


def values_of(declared: Declaration) -> st.SearchStrategy[OperatorValues]:
    """An operator with each parameter anywhere in its range: at its ends, on its steps and between them.

    Those that together make no picture are brought nearer to their defaults, until they do.
    """
    given = st.fixed_dictionaries({each.name: value_of(each) for each in declared.parameters})
    return given.map(
        lambda values: operator.checked(declared.name, together(declared, values), version=declared.version)
    )


def together(declared: Declaration, values: Mapping[str, Value]) -> Mapping[str, Value]:
    """These values, or, where they are at fault together, numbers half as far from their defaults."""
    while declared.make.fault(values) is not None:
        defaults = {each.name: each.default for each in declared.parameters}
        values = {
            name: value if isinstance(value, str) else (float(value) + float(defaults[name])) / 2
            for name, value in values.items()
        }
    return values


def neutral_values_of(declared: Declaration) -> st.SearchStrategy[OperatorValues]:
    """The same, but that its strength is nothing."""
    given: dict[str, st.SearchStrategy[Any]] = {
        each.name: st.just(each.default) if each.name in declared.strength else value_of(each)
        for each in declared.parameters
    }
    return st.fixed_dictionaries(given).map(
        lambda values: operator.checked(declared.name, values, version=declared.version)
    )


def value_of(parameter: Parameter) -> st.SearchStrategy[Value]:
    """Any value of one parameter."""
    if parameter.is_choice:
        return st.sampled_from(parameter.choices)
    if parameter.frames:
        digits = st.integers(0, 2**128 - 1).map(lambda number: f"xxh128:{number:032x}")
        return st.lists(digits, max_size=3).map(" ".join)
    low, high, step = parameter.low, parameter.high, parameter.step
    on_steps = st.integers(0, int((high - low) / step)).map(lambda count: min(high, low + count * step))
    ends = st.sampled_from([low, high, float(parameter.default)])
    return st.one_of(ends, on_steps, st.floats(low, high, allow_subnormal=False))
