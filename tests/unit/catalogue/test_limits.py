"""What a text or a fact may be to be kept."""

from __future__ import annotations

from typing import Any

import pytest

from archive.catalogue.limits import LONGEST, check_facts, check_moment, check_text, check_texts


def test_facts_that_are_known_pass_and_everything_else_is_left_out() -> None:
    said = {"iso": 800, "f_number": 2.8, "lens": None, "faults": [], "colour": "grey", "exposure_s": 4}
    assert check_facts(said) == {"iso": 800, "f_number": 2.8, "exposure_s": 4}
    assert check_facts({"faults": ["torn"]}) == {"faults": ["torn"]}


@pytest.mark.parametrize("facts", [{"iso": True}, {"iso": 8.5}, {"taken": 7}, {"faults": "torn"}])
def test_a_fact_of_another_kind_is_refused_by_its_name(facts: dict[str, Any]) -> None:
    with pytest.raises(TypeError, match=next(iter(facts))):
        check_facts(facts)


def test_what_is_no_set_of_facts_is_refused() -> None:
    with pytest.raises(AttributeError):
        check_facts(None)  # type: ignore[arg-type]


def test_a_text_may_be_as_long_as_its_column() -> None:
    check_texts({"night": "x" * 10, "more": "y" * 10_000}, "night", "more")
    for value in ({"night": "x" * 11}, {"night": "a\0b"}):
        with pytest.raises(ValueError, match="characters"):
            check_texts(value, "night")
    with pytest.raises(TypeError):
        check_text(7)
    assert LONGEST["path"] == 1000


def test_a_moment_has_a_zone() -> None:
    check_moment("2026-03-18T22:00:00+01:00")
    with pytest.raises(ValueError, match="without zone"):
        check_moment("2026-03-18T22:00:00")
