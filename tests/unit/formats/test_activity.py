"""Reading the open files of the planetary index."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from archive.errors import DamagedFileError
from archive.formats.activity import AP, read_activity


def row(day: str, kp: str, ap: str, final: int) -> str:
    """A row of the daily table; the columns of sun and month are filled with what nobody reads."""
    return f"{day} 33000 33000.5 2600  1 {kp} {ap} 4 -1 -1.0 -1.0 {final}\n"


# Kp and ap as published for these days (GFZ, doi 10.5880/Kp.0001, CC BY 4.0); the last row's are invented.
TABLE = (
    "# comment\n"
    + row("2024 01 21", "0.000 1.333 1.333 2.000 1.667 1.000 0.667 1.000", "0 5 5 7 6 4 3 4", 1)
    + row("2024 02 11", "4.333 3.333 3.333 3.000 1.667 2.333 1.333 2.000", "32 18 18 15 6 9 5 7", 0)
    + row("2024 02 13", "1.000 1.000 1.000 1.000 1.000 1.000 -1.000 -1.000", "4 4 4 4 4 4 -1 -1", 0)
).encode()
# The first row of the published list (same source).
LIST = b"1932 01 01 00.0 01.50     0.00000     0.06250  3.333   18 1\n"


def test_the_daily_table_gives_eight_intervals_a_day_and_none_where_the_index_is_missing() -> None:
    found = read_activity(TABLE, "kp.txt")
    assert len(found) == 8 + 8 + 6
    assert [line.kp for line in found[:8]] == [0.0, 1.333, 1.333, 2.0, 1.667, 1.0, 0.667, 1.0]
    assert [line.ap for line in found[8:16]] == [32, 18, 18, 15, 6, 9, 5, 7]
    assert (found[9].begins, found[9].hours) == (datetime(2024, 2, 11, 3, tzinfo=UTC), 3.0)
    assert (found[0].final, found[8].final) == (True, False)


def test_the_list_gives_one_interval_a_row() -> None:
    (line,) = read_activity(LIST, "kp.txt")
    assert (line.begins, line.kp, line.ap, line.final) == (datetime(1932, 1, 1, tzinfo=UTC), 3.333, 18, True)


def test_hourly_indices_go_beyond_nine() -> None:
    (line,) = read_activity(b"2024 05 11 00.0 00.50 33734.0 33734.02 11.333 465 0\n", "hp.txt")
    assert (line.hours, line.kp, line.ap) == (1.0, 11.333, 465)


def test_ap_belongs_to_kp() -> None:
    """Storm days: 2024-05-11 and 1989-03-13, published values of Kp in tenths."""
    thirds = {90: 27, 83: 25, 87: 26, 77: 23, 47: 14, 60: 18}
    assert [AP[thirds[tenths]] for tenths in (90, 83, 87, 77, 47, 60)] == [400, 236, 300, 179, 39, 80]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no interval"),
        (b"# only comments\n", "no interval"),
        (b"hello there\n", "line 1: 2 columns"),
        (b"\xff\xfe\x00" * 50, "columns"),
        (LIST.replace(b"3.333", b"3.400"), "thirds"),
        (LIST.replace(b"  18", b"  17"), "Kp 3.333 has ap 18, not 17"),
        (LIST.replace(b"1932 01 01", b"1932 13 01"), "month"),
        (LIST.replace(b"01.50", b"02.50"), "middle"),
        (LIST.replace(b"3.333", b"nan"), "line 1"),
    ],
)
def test_a_file_of_another_kind_is_refused_with_its_line(data: bytes, said: str) -> None:
    with pytest.raises(DamagedFileError, match=said):
        read_activity(data, "kp.txt")
