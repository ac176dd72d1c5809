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


def test_choices_are_listed_and_an_unknown_name_is_refused() -> None:
    choices = [p.range for each in describe_operators() for p in each.parameters if "one of" in p.range]
    assert choices
    with pytest.raises(UsageError):
        describe_operators("sparkle")
