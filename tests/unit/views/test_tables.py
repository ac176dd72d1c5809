"""Tables at any width."""

from __future__ import annotations

import io
from collections.abc import Sequence

import pytest
from rich.cells import cell_len
from rich.console import Console

from archive.views.tables import Column, Gives, fit, fitted

COLUMNS = (
    Column("night"),
    Column("site", gives=Gives.ENDS, least=6),
    Column("frames", right=True),
    Column("words", gives=Gives.LINES, least=10),
    Column("moon", spare=1),
    Column("sequences", right=True, spare=2),
)
ROWS = [
    ["2026-03-18", "A bend of a long river", "1450", "dark from dusk on, and no moon at all", "12 %", "3"],
    ["2026-03-19", "氷の川の曲がり", "7", "cloud", "2 %", "1"],
]  # fmt: skip


def drawn(width: int, columns: Sequence[Column] = COLUMNS, rows: Sequence[Sequence[str]] = ROWS) -> list[str]:
    sink = io.StringIO()
    Console(file=sink, width=width).print(fitted(columns, rows, width), crop=False)
    return sink.getvalue().splitlines()


def test_what_fits_is_left_as_it_is() -> None:
    assert fit(COLUMNS, ROWS, 200) == [10, 22, 6, 37, 4, 9]
    assert fitted(COLUMNS, ROWS, 200).left_out == ()
    assert "dark from dusk on, and no moon at all" in drawn(200)[1]


@pytest.mark.parametrize("width", [200, 98, 90, 80, 66, 50, 40])
def test_no_line_is_wider_and_no_date_or_number_is_broken(width: int) -> None:
    lines = drawn(width)
    assert max(cell_len(line) for line in lines) <= width
    for whole in ("2026-03-18", "2026-03-19", "1450"):
        assert sum(whole in line for line in lines) == 1


def test_the_widest_text_gives_first_and_only_as_much_as_is_needed() -> None:
    full = 10 + 22 + 6 + 37 + 4 + 9 + 5 * 2
    assert fit(COLUMNS, ROWS, full - 5) == [10, 22, 6, 32, 4, 9]
    assert fit(COLUMNS, ROWS, full - 25) == [10, 17, 6, 17, 4, 9]


def test_columns_are_left_out_in_their_order_and_told() -> None:
    # The least of all: 10 + 6 + 6 + 10 + 4 + 9 and five gaps of 2 are 55.
    assert fitted(COLUMNS, ROWS, 55).left_out == ()
    assert fitted(COLUMNS, ROWS, 54).left_out == ("sequences",)
    assert fitted(COLUMNS, ROWS, 43).left_out == ("moon", "sequences")


def test_where_whole_columns_need_more_than_there_is_they_stay_whole() -> None:
    made = fitted(COLUMNS, ROWS, 20)
    assert made.width == 38
    assert sum("2026-03-18" in line for line in drawn(20)) == 1


def test_a_table_without_rows_or_heads_is_none_the_worse() -> None:
    assert fit((Column("a"), Column("b")), [], 10) == [1, 1]
    headless = (Column(""), Column("", gives=Gives.LINES))
    assert drawn(80, headless, [["x", "y"]]) == ["x  y"]
    assert [line.rstrip() for line in drawn(12, headless, [["x", "two words"]])] == ["x  two words"]
    assert [line.rstrip() for line in drawn(11, headless, [["x", "two words"]])] == ["x  two", "   words"]


@pytest.mark.parametrize("width", [60, 38, 30, 26])
def test_a_table_of_single_lines_looks_as_one_that_breaks(width: int) -> None:
    columns = (Column("night"), Column("site", gives=Gives.ENDS, least=6), Column("frames", right=True))
    rows = [row[:3] for row in ROWS]
    broken = [line.rstrip() for line in drawn(width, columns, [*rows, ["2026-03-20", "two\nlines", "2"]])]
    assert broken[:-2] == drawn(width, columns, rows)
    assert [line.split()[-1] for line in broken[-2:]] == ["2", "lines"]


def test_lines_end_where_their_words_do_and_heads_alone_are_bold() -> None:
    sink = io.StringIO()
    made = fitted((Column("night"), Column("site")), [["2026-03-18", "A bend"], ["2026-03-19", "x"]], 80)
    Console(file=sink, width=80, force_terminal=True, color_system="standard").print(made, crop=False)
    assert sink.getvalue().splitlines() == [
        "\x1b[1mnight       site\x1b[0m",
        "2026-03-18  A bend",
        "2026-03-19  x",
    ]
