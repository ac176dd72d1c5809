"""Tables at any width."""

from __future__ import annotations

import io

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


def drawn(width: int) -> list[str]:
    sink = io.StringIO()
    console = Console(file=sink, width=width)
    made = fitted(COLUMNS, ROWS, width)
    console.print(made, crop=False)
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
    assert fitted((Column(""), Column("", gives=Gives.LINES)), [["x", "y"]], 80).table.show_header is False
