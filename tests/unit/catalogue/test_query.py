"""Queries as people type them: what they mean, and errors that point at the column."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.catalogue.query import DEEPEST, LONGEST, Condition, Either, Every, Not, parse
from archive.catalogue.query_fields import FIELDS
from archive.errors import UsageError


def shape(text: str) -> str:
    return parse(text).words()


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("", ""),
        ("   ", ""),
        ("rating>=4", "rating >= 4"),
        ("rating >= 4", "rating >= 4"),
        ("RATING>=4 ISO<=3200", "rating >= 4 and iso <= 3200"),
        ("rating>=4 and iso<=3200", "rating >= 4 and iso <= 3200"),
        ("rating>=4 or iso<=3200 camera:north", "(rating >= 4 or iso <= 3200 and camera : north)"),
        ("(rating>=4 or iso<=3200) camera:north", "(rating >= 4 or iso <= 3200) and camera : north"),
        ("not rating:0 moon<0", "not rating : 0 and moon < 0"),
        ("not (rating:0 moon<0)", "not rating : 0 and moon < 0"),
        ('keyword:"river ice"', "keyword : river ice"),
        (r'keyword:"a \"b\" \\c"', r'keyword : a "b" \c'),
        ("camera:or name:not", "camera : or and name : not"),
        ("night:2026-03..2026-05", "night : 2026-03..2026-05"),
    ],
)
def test_a_query_means_what_it_says(typed: str, means: str) -> None:
    assert shape(typed) == means


def test_not_binds_to_the_condition_beside_it_and_or_least() -> None:
    tree = parse("not rating:0 iso:800 or iso:1600")
    assert isinstance(tree, Either)
    first, second = tree.parts
    assert isinstance(first, Every)
    assert isinstance(first.parts[0], Not)
    assert isinstance(second, Condition)


@pytest.mark.parametrize(
    ("typed", "column", "says"),
    [
        ("isso>800", 1, "no field isso"),
        ("rating>=4 isso>800", 11, "no field isso"),
        ("iso>", 5, "no value after iso>"),
        ("iso", 4, "compared with nothing"),
        ("iso>many", 5, "many is no number"),
        # Nothing is found by these, and a million frames were gone through to say so.
        ("rating:1.5", 8, "1.5 is no whole number"),
        ("camera:a iso:100..1600.5", 14, "1600.5 is no whole number"),
        ("sequence:1/2", 10, "1/2 is no whole number"),
        ("exposure>3parsec", 10, "no number in s, ms, min"),
        ("keyword>x", 8, "has no order"),
        ("keyword:*", 9, "no text to look for"),
        ("night:2026-13", 7, "no date"),
        ("night:..", 7, "needs a bound"),
        ("rating>1..3", 7, "range is asked for with :"),
        ("developed:perhaps", 11, "neither yes nor no"),
        ("developed>yes", 10, "yes or no"),
        ("(rating:1", 10, "( of column 1 is not closed"),
        ("rating:1)", 9, "closes nothing"),
        ("()", 2, "nothing between"),
        ("not", 4, "needs a condition"),
        ("rating:1 or", 12, "one is missing here"),
        ("or rating:1", 1, "one is missing here"),
        ("and rating:1", 1, "there is none before it"),
        ('"north"', 1, "a quoted text alone is no condition"),
        ('camera:"north', 8, "no value after camera:"),
        ('iso:1 "north', 7, "is not closed"),
        ("iso:1/0", 5, "no number"),
    ],
)
def test_a_query_that_cannot_be_read_is_pointed_at(typed: str, column: int, says: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse(typed)
    message, line, mark = caught.value.message.split("\n")
    assert f"at column {column}:" in message
    assert says in message
    assert line.strip() == typed.strip()
    assert mark.index("^") - 2 == column - 1


def test_a_number_beyond_all_numbers_is_none() -> None:
    with pytest.raises(UsageError, match=r"column 5: .* is no number"):
        parse("iso:" + "9" * 400)


def test_a_field_that_is_nearly_right_is_suggested() -> None:
    with pytest.raises(UsageError) as caught:
        parse("expossure>=10")
    assert "Did you mean exposure or exported?" in caught.value.hint


def test_a_mark_far_to_the_right_still_shows_its_surroundings() -> None:
    with pytest.raises(UsageError) as caught:
        parse("iso:800 " * 30 + "isso:800")
    _, line, mark = caught.value.message.split("\n")
    assert len(line) < 80
    assert line[mark.index("^") :].startswith("isso")


def test_what_is_too_long_or_too_deep_is_refused() -> None:
    with pytest.raises(UsageError, match="more than the"):
        parse("x" * (LONGEST + 1))
    with pytest.raises(UsageError, match=f"more than {DEEPEST} deep"):
        parse("(" * 200 + "iso:1" + ")" * 200)
    with pytest.raises(UsageError, match=f"more than {DEEPEST} deep"):
        parse("not " * 200 + "iso:1")


@pytest.mark.parametrize(
    ("typed", "column", "as_"),
    [
        ("name:\udcff", 6, r"\xff"),
        ("rating>=1 keyword:ri\0ver", 21, r"\x00"),
        ('camera:"a\ud800"', 10, r"\ud800"),
    ],
)
def test_bytes_that_are_no_text_are_pointed_at_before_any_database_sees_them(
    typed: str, column: int, as_: str
) -> None:
    with pytest.raises(UsageError, match=f"at column {column}: ") as caught:
        parse(typed)
    message, line, mark = caught.value.message.split("\n")
    assert f"{as_} is no character of a text" in message
    assert mark.index("^") - 2 == column - 1
    assert line.isprintable()


ANY_TEXT = st.text(st.characters(exclude_categories=()), max_size=80)
"""With surrogates and NUL, which plain texts of hypothesis leave out."""


@given(ANY_TEXT)
def test_any_text_is_a_query_or_a_usage_error_of_printable_lines(typed: str) -> None:
    try:
        parse(typed)
    except UsageError as error:
        assert all(line.isprintable() for line in error.message.split("\n"))


@given(
    st.lists(st.sampled_from([*FIELDS, ":", ">=", "(", ")", "or", "not", "and", '"', "4", "*", "..", " "]))
)
def test_any_jumble_of_its_own_words_is_a_query_or_a_usage_error(words: list[str]) -> None:
    try:
        parse("".join(words))
    except UsageError as error:
        assert "^" in error.message
