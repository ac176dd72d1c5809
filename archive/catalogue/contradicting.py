"""Queries that no frame can answer, whatever is held: told before any frame is looked at.

Bounds that exclude each other cannot be told from what is known of a night as a whole: its frames may lie on
both sides of them.

>>> from archive.catalogue.query import parse
>>> contradictory(parse("rating:4 and rating:5")), contradictory(parse("rating:4 or rating:5"))
(True, False)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from itertools import pairwise

from archive.catalogue.query import Condition, Either, Every, Not, Tree
from archive.catalogue.query_fields import Within

Value = Fraction | int | None
"""A number that a field may have; None where it is not known."""
_FEW: dict[str, Iterable[int]] = {"rating": range(-1, 6)}
"""Fields of which every frame has one of a few values."""
_MOST = 40
"""Comparisons of one field that are looked at: trying values takes the square of it."""


def contradictory(tree: Tree) -> bool:
    """Whether one of the numbers asked for can have no value for which the tree might hold.

    What it says of other fields is left open, so that a contradiction between fields is not noticed.
    """
    asked: dict[str, list[Within]] = {}
    for condition in _conditions(tree):
        if isinstance(condition.compare, Within):
            asked.setdefault(condition.field.name, []).append(condition.compare)
    return any(
        all(_might(tree, name, value) is False for value in values)
        for name, compares in asked.items()
        if len(compares) <= _MOST and (values := _values(name, compares))
    )


def _conditions(tree: Tree) -> Iterator[Condition]:
    match tree:
        case Every(parts=parts) | Either(parts=parts):
            for part in parts:
                yield from _conditions(part)
        case Not(part=part):
            yield from _conditions(part)
        case Condition():
            yield tree


def _values(name: str, compares: Iterable[Within]) -> list[Value]:
    """One value for every way in which these comparisons can turn out; none for texts."""
    if name in _FEW:
        return list(_FEW[name])
    bounds = [bound for each in compares for bound in (each.low, each.high) if bound is not None]
    if any(isinstance(bound, str) for bound in bounds):
        return []
    # Exact, because between two neighbours among floats there may be a whole number that a column holds.
    exact = sorted({Fraction(bound) for bound in bounds})
    between = [(low + high) / 2 for low, high in pairwise(exact)]
    return [None, *exact, *between, exact[0] - 1, exact[-1] + 1]


def _might(tree: Tree, name: str, value: Value) -> bool | None:
    """Whether the tree holds for a frame of which this is known; None where it depends on more."""
    match tree:
        case Every(parts=parts):
            told = [_might(part, name, value) for part in parts]
            return False if False in told else None if None in told else True
        case Either(parts=parts):
            told = [_might(part, name, value) for part in parts]
            return True if True in told else None if None in told else False
        case Not(part=part):
            inner = _might(part, name, value)
            return None if inner is None else not inner
        case Condition(field=field, compare=Within() as compare) if field.name == name:
            return _holds(compare, value)
    return None


def _holds(compare: Within, value: Value) -> bool:
    if value is None:
        return False
    low, high = compare.low, compare.high
    assert not isinstance(low, str) and not isinstance(high, str)
    above = low is None or value > low or (compare.low_in and value == low)
    below = high is None or value < high or (compare.high_in and value == high)
    return (above and below) != compare.outside
