from __future__ import annotations

import pytest

from archive.editing.describing import describe_operators
from archive.engine import operator
from archive.errors import UsageError


def test_every_operator_is_described_with_ranges_and_units() -> None:
    told = describe_operators()
    assert [each.name for each in told] == [each.name for each in operator.declarations()]
    (one,) = describe_operators("exposure")
    assert "EV" in one.parameters[0].range
    assert "neutral" in one.parameters[0].range


def test_every_declared_number_choice_and_schema_is_told_beside_its_words() -> None:
    for told, declared in zip(describe_operators(), operator.declarations(), strict=True):
        assert told.schema == operator.json_schema(declared.name)
        assert (told.help, told.finish, told.mosaic_only) == (
            declared.help, declared.finish, declared.mosaic_only,
        )  # fmt: skip
        for one, each in zip(told.parameters, declared.parameters, strict=True):
            assert (one.neutral, one.unit, one.choices) == (each.default, str(each.unit), each.choices)
            assert (one.ramp, one.scale, one.frames) == (each.ramp, each.scale, each.frames)
            number = (one.low, one.high, one.step)
            is_text = isinstance(each.default, str)
            assert number == ((None,) * 3 if is_text else (each.low, each.high, each.step))


def test_choices_are_listed_and_an_unknown_name_is_refused() -> None:
    choices = [p.range for each in describe_operators() for p in each.parameters if "one of" in p.range]
    assert choices
    with pytest.raises(UsageError):
        describe_operators("sparkle")
