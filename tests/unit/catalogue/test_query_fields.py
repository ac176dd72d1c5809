"""Values that fields are compared with."""

from __future__ import annotations

import pytest

from archive.catalogue.query import parse
from archive.catalogue.query_fields import FIELDS, FieldError, Text, Truth, Within


def bounds(field: str, mark: str, value: str) -> tuple[object, object, bool, bool]:
    found = FIELDS[field].compare(mark, value)
    assert isinstance(found, Within)
    return found.low, found.high, found.low_in, found.high_in


@pytest.mark.parametrize(
    ("value", "seconds"),
    [("10", 10), ("10s", 10), ("200ms", 0.2), ("2min", 120), ("1/50", 0.02), ("1/50s", 0.02)],
)
def test_exposures_are_read_in_the_units_people_use(value: str, seconds: float) -> None:
    assert bounds("exposure", "=", value) == (seconds, seconds, True, True)


def test_marks_open_and_close_bounds() -> None:
    assert bounds("iso", "<", "800") == (None, 800, True, False)
    assert bounds("iso", "<=", "800") == (None, 800, True, True)
    assert bounds("iso", ">", "800") == (800, None, False, True)
    assert bounds("iso", ":", "800..1600") == (800, 1600, True, True)
    assert bounds("iso", ":", "..1600") == (None, 1600, True, True)
    found = FIELDS["iso"].compare("!=", "800")
    assert isinstance(found, Within)
    assert found.outside


def test_a_typographic_minus_and_a_degree_sign_are_read() -> None:
    assert bounds("moon", "<", "−6°") == (None, -6, True, False)
    assert bounds("aperture", "<=", "f/2.8") == (None, 2.8, True, True)


@pytest.mark.parametrize(
    ("mark", "value", "meant"),
    [
        (":", "2026-03-18", ("2026-03-18", "2026-03-18", True, True)),
        (":", "2026-03", ("2026-03", "2026-03-99", True, True)),
        (":", "2026", ("2026", "2026-99-99", True, True)),
        ("<", "2026-03", (None, "2026-03", True, False)),
        ("<=", "2026-03", (None, "2026-03-99", True, True)),
        (">", "2026-03", ("2026-03-99", None, False, True)),
        (">=", "2026-03", ("2026-03", None, True, True)),
        (":", "2026-02..2026-03", ("2026-02", "2026-03-99", True, True)),
    ],
)
def test_a_month_or_year_stands_for_all_its_nights(mark: str, value: str, meant: object) -> None:
    assert bounds("night", mark, value) == meant


def test_a_star_at_the_end_means_that_it_begins_so() -> None:
    assert FIELDS["name"].compare(":", "NOCT*") == Text(
        text="NOCT", start=True, told=": NOCT*", also=("noct", "Noct")
    )
    assert FIELDS["name"].compare("!=", "a") == Text(text="a", outside=True, told="!= a", also=("A",))
    assert FIELDS["keyword"].compare("!=", "a") == Text(text="a", outside=True, told="!= a")


def test_yes_and_no_are_read() -> None:
    assert FIELDS["developed"].compare(":", "Yes") == Truth(yes=True, told=": Yes")


@pytest.mark.parametrize("value", ["nan", "inf", "1e999", "0x10", "१"])
def test_odd_numbers_are_none(value: str) -> None:
    with pytest.raises(FieldError):
        FIELDS["moon"].compare("=", value)


@pytest.mark.parametrize("field", FIELDS.values(), ids=FIELDS)
def test_the_example_of_every_field_can_be_asked_of_it(field: object) -> None:
    assert parse(FIELDS[field.name].example).words().startswith(field.name)  # type: ignore[attr-defined]
