from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from fractions import Fraction
from pathlib import PurePosixPath

import pytest

from archive.errors import Exit
from archive.views.plain import plain, print_json


@dataclass(frozen=True, kw_only=True)
class Inner:
    rate: Fraction


@dataclass(frozen=True, kw_only=True)
class Outer:
    name: str
    inner: tuple[Inner, ...]


def test_results_become_dictionaries_lists_strings_and_numbers() -> None:
    value = Outer(name="a", inner=(Inner(rate=Fraction(25)),))
    assert plain(value) == {"name": "a", "inner": [{"rate": "25/1"}]}
    assert plain({1: {date(2026, 3, 18)}}) == {"1": ["2026-03-18"]}
    assert plain(datetime(2026, 3, 18, 22, tzinfo=UTC)) == "2026-03-18T22:00:00+00:00"
    assert plain([Exit.REFUSED, PurePosixPath("a/b"), None, 1.5]) == [3, "a/b", None, 1.5]


def test_names_of_any_bytes_are_printed_in_plain_ascii(capsys: pytest.CaptureFixture[str]) -> None:
    name = b"\xff\x1b[31m\xc3\xa9".decode("utf-8", "surrogateescape")
    print_json({"name": name})
    out = capsys.readouterr().out
    assert out.isascii()
    assert "\x1b" not in out
    assert json.loads(out)["name"] == name
