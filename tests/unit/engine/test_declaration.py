"""What a declaration refuses."""

import dataclasses
from typing import Any

import pytest

from archive.engine.declaration import Declaration, Family, Operator, operator, param


def declared(into: dict[tuple[str, int], Declaration], name: str = "glow", **more: Any) -> type[Operator]:
    @operator(name, family=Family.TONE, into=into, **more)
    class Glow(Operator):
        """Add a glow."""

        amount: float = param(0.0, low=0, high=1, help="how much")

    return Glow


def test_a_declared_operator_is_frozen_and_takes_keywords_only() -> None:
    glow = declared({})
    made: Any = glow(amount=0.5)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.amount = 1.0
    with pytest.raises(TypeError):
        glow(0.5)  # type: ignore[call-arg]
    assert glow.declared.parameters[0].default == 0.0


def test_a_duplicate_is_refused_and_a_new_version_is_not() -> None:
    into: dict[tuple[str, int], Declaration] = {}
    declared(into)
    declared(into, version=2)
    with pytest.raises(ValueError, match="declared twice"):
        declared(into)
    assert sorted(into) == [("glow", 1), ("glow", 2)]


def test_names_are_lower_case_words() -> None:
    for name in ("Glow", "glow-2", "_glow", ""):
        with pytest.raises(ValueError, match="no operator name"):
            declared({}, name)


def test_a_missing_docstring_is_refused() -> None:
    class Bare(Operator):
        amount: float = param(0.0, low=0, high=1, help="how much")

    with pytest.raises(ValueError, match="no docstring"):
        operator("bare", family=Family.TONE, into={})(Bare)


def test_a_default_outside_its_range_or_choices_is_refused() -> None:
    class Wide(Operator):
        """Widen."""

        amount: float = param(2.0, low=0, high=1, help="how much")

    class Chosen(Operator):
        """Choose."""

        kind: str = param("c", choices=("a", "b"), help="which")

    with pytest.raises(ValueError, match=r"wide\.amount: its default 2\.0 is outside"):
        operator("wide", family=Family.TONE, into={})(Wide)
    with pytest.raises(ValueError, match=r"chosen\.kind: its default 'c' is none"):
        operator("chosen", family=Family.TONE, into={})(Chosen)


def test_missing_help_and_unknown_scales_are_refused() -> None:
    class Silent(Operator):
        """Say nothing."""

        amount: float = param(0.0, low=0, high=1, help=" ")

    with pytest.raises(ValueError, match="without help"):
        operator("silent", family=Family.TONE, into={})(Silent)
    with pytest.raises(ValueError, match="linear or reciprocal"):
        param(0.0, low=0, high=1, scale="odd", help="x")
    with pytest.raises(ValueError, match="strength names unknown"):
        declared({}, strength=("nothing",))


def test_an_undeclared_operator_cannot_be_made() -> None:
    class Bare(Operator):
        """Not declared."""

    with pytest.raises(TypeError, match="Bare is not declared"):
        Bare(amount=1.0)
