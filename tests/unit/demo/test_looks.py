"""The demo's looks."""

from __future__ import annotations

from archive.demo import looks
from archive.engine import operator


def test_both_looks_are_made_of_operators_that_exist_with_values_in_range() -> None:
    for setting in (*looks.FIRST_LOOK, *looks.SECOND_LOOK):
        target, _, text = setting.partition("=")
        name, parameter, value = operator.parse_setting(target, text)
        assert operator.checked(name, {parameter: value}).values[parameter] == value


def test_the_second_look_changes_the_first() -> None:
    first = dict(setting.split("=") for setting in looks.FIRST_LOOK)
    second = dict(setting.split("=") for setting in looks.SECOND_LOOK)
    assert any(first.get(name) != value for name, value in second.items())


def test_the_first_look_is_complete_with_every_value_stated() -> None:
    made = {values.name: values.values for values in looks.first_look()}
    assert made["exposure"]["stops"] == 0.3
    assert set(made["sharpness"]) == {each.name for each in operator.declaration("sharpness").parameters}
