from __future__ import annotations

import pytest

from archive.catalogue.spellings import spellings


@pytest.mark.parametrize(
    ("typed", "held"),
    [
        ("noct0137.dng", "NOCT0137.DNG"),
        ("Noct0137", "NOCT0137"),
        ("NOCT0137.DNG", "noct0137.dng"),
        ("noct0137.dng", "NOCT0137.dng"),
        ("NOCT0137.dng", "Noct0137.DNG"),
        ("a.b.c", "A.B.C"),
    ],
)
def test_names_that_differ_by_capitals_are_among_the_spellings(typed: str, held: str) -> None:
    told = spellings(typed)
    assert held in told
    assert told[0] == typed
    assert len(told) == len(set(told)) <= 7


def test_what_has_no_capitals_has_one_spelling() -> None:
    assert spellings("0137.42") == ("0137.42",)
    assert spellings(".") == (".",)
