"""Tables that fit: names, dates and numbers stay whole; text gives way, then whole columns do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from rich.cells import cell_len, set_cell_size
from rich.console import Console, ConsoleOptions, RenderResult
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

_BETWEEN = 2


class Gives(Enum):
    """What a column does where the table is too wide: nothing, lose its ends, or break into lines."""

    NOTHING = "nothing"
    ENDS = "ends"
    LINES = "lines"


@dataclass(frozen=True)
class Column:
    """A column of a table.

    It keeps ``least`` cells of width at least; of columns with ``spare`` the one with the highest is left out
    first, where the others have given what they can.
    """

    head: str
    right: bool = False
    gives: Gives = Gives.NOTHING
    least: int = 8
    spare: int = 0


@dataclass(frozen=True, kw_only=True)
class _Lines:
    """A table in which every row is one line: set by itself, many times faster than cell by cell."""

    columns: Sequence[Column]
    widths: Sequence[int]
    rows: Iterable[Sequence[str]]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        if any(column.head for column in self.columns):
            yield Segment(self._line([column.head for column in self.columns]), console.get_style("bold"))
            yield Segment.line()
        for row in self.rows:
            yield Segment(f"{self._line(row)}\n")

    def _line(self, cells: Sequence[str]) -> str:
        set_out = []
        for cell, column, width in zip(cells, self.columns, self.widths, strict=True):
            left = width - cell_len(cell)
            if left < 0:
                set_out.append(set_cell_size(cell, width - 1) + "…")
            else:
                set_out.append(" " * left + cell if column.right else cell + " " * left)
        return (" " * _BETWEEN).join(set_out).rstrip()


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """A table, how wide it is, and the heads of the columns that were left out of it."""

    table: Table | _Lines
    width: int
    left_out: tuple[str, ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        # Where it needs more room than there is, lines that are too long are better than names cut short.
        yield from console.render(self.table, options.update_width(max(self.width, options.max_width)))


def fitted(columns: Sequence[Column], rows: Iterable[Sequence[str]], width: int) -> Fitted:
    """Columns and rows as a table at most ``width`` cells wide, where its whole columns allow that."""
    cells = [tuple(row) for row in rows]
    widths = fit(columns, cells, width)
    kept = {at: wide for at, wide in enumerate(widths) if wide is not None}
    shown_columns = [columns[at] for at in kept]
    shown_cells = [[row[at] for at in kept] for row in cells]
    broken = any(
        "\n" in row[at] or (columns[at].gives is Gives.LINES and cell_len(row[at]) > wide)
        for row in cells
        for at, wide in kept.items()
    )
    made = _broken if broken else _Lines
    return Fitted(
        table=made(columns=shown_columns, widths=list(kept.values()), rows=shown_cells),
        width=sum(kept.values()) + _BETWEEN * (len(kept) - 1),
        left_out=tuple(column.head for at, column in enumerate(columns) if at not in kept),
    )


def _broken(*, columns: Sequence[Column], widths: Sequence[int], rows: Iterable[Sequence[str]]) -> Table:
    """A table in which cells break into lines."""
    table = Table(
        box=None,
        padding=(0, _BETWEEN, 0, 0),
        pad_edge=False,
        header_style="bold",
        show_header=any(column.head for column in columns),
    )
    for column, width in zip(columns, widths, strict=True):
        table.add_column(
            column.head,
            justify="right" if column.right else "left",
            width=width,
            no_wrap=column.gives is not Gives.LINES,
            overflow="fold" if column.gives is Gives.LINES else "ellipsis",
        )
    for row in rows:
        table.add_row(*map(Text, row))
    return table


def fit(columns: Sequence[Column], rows: Sequence[Sequence[str]], width: int) -> list[int | None]:
    """The width of each column, None where it is left out."""
    natural = [
        max([cell_len(column.head), *(cell_len(row[at]) for row in rows)])
        for at, column in enumerate(columns)
    ]
    least = [
        wide if column.gives is Gives.NOTHING else min(wide, max(column.least, cell_len(column.head)))
        for wide, column in zip(natural, columns, strict=True)
    ]
    kept = list(range(len(columns)))
    while sum(least[at] for at in kept) + _BETWEEN * (len(kept) - 1) > width:
        spare = max(kept, key=lambda at: columns[at].spare, default=None)
        if spare is None or not columns[spare].spare:
            break
        kept.remove(spare)
    room = width - _BETWEEN * (len(kept) - 1)
    widths = {at: natural[at] for at in kept}
    while sum(widths.values()) > room:
        giving = [at for at in kept if widths[at] > least[at]]
        if not giving:
            break
        widths[max(giving, key=lambda at: widths[at])] -= 1
    return [widths.get(at) for at in range(len(columns))]
