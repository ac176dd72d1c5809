"""Rows into tables: those already there stay, or give way to a greater (counter, entry)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Table, and_, or_
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import DeclarativeBase, Session

from archive.catalogue.rows import Instant, milliseconds

Row = type[DeclarativeBase]
Values = dict[str, Any]


def insert_rows(session: Session, row: Row, values: Sequence[Values], *, newer_wins: bool = False) -> None:
    """Insert rows; those already there stay, or give way to a greater (counter, entry) if ``newer_wins``.

    All rows have the same columns.
    """
    if not values:
        return
    # On the connection itself: nothing of what an object mapper adds is wanted for plain rows.
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        text, plain = _written(row, newer_wins, tuple(values[0]))
        connection.exec_driver_sql(text, [plain(each) for each in values])
    else:
        connection.execute(_statement(row, connection.dialect.name, newer_wins), list(values))


@cache
def _statement(row: Row, dialect: str, newer_wins: bool) -> Any:
    table = row.__table__
    assert isinstance(table, Table)
    statement = (postgresql if dialect == "postgresql" else sqlite).insert(table)
    if not newer_wins:
        return statement.on_conflict_do_nothing()
    new, old = statement.excluded, table.c
    keys = {column.name for column in table.primary_key}
    return statement.on_conflict_do_update(
        index_elements=list(table.primary_key),
        set_={column.name: new[column.name] for column in table.c if column.name not in keys},
        where=or_(new.counter > old.counter, and_(new.counter == old.counter, new.entry > old.entry)),
    )


@cache
def _written(
    row: Row, newer_wins: bool, names: tuple[str, ...]
) -> tuple[str, Callable[[Values], tuple[Any, ...]]]:
    """The statement as SQLite's driver takes it, and how a row becomes its parameters: millions pass here."""
    compiled = _statement(row, "sqlite", newer_wins).compile(
        dialect=sqlite.dialect(),
        column_keys=list(names),
    )
    order = compiled.positiontup
    pick = itemgetter(*order)
    moments = [at for at, name in enumerate(order) if isinstance(row.__table__.c[name].type, Instant)]
    if not moments:
        return str(compiled), pick if len(order) > 1 else lambda values: (values[order[0]],)

    def plain(values: Values) -> tuple[Any, ...]:
        listed = list(pick(values))
        for at in moments:
            listed[at] = milliseconds(listed[at])
        return tuple(listed)

    return str(compiled), plain


class Batch:
    """Rows of many entries, gathered by table and inserted together; their order means nothing."""

    def __init__(self) -> None:
        self._gathered: dict[tuple[Row, bool], list[Values]] = {}

    def add(self, row: Row, values: Sequence[Values], *, newer_wins: bool = False) -> None:
        if values:
            self._gathered.setdefault((row, newer_wins), []).extend(values)

    def flush(self, session: Session) -> None:
        """Insert what was gathered, and begin anew."""
        for (row, newer_wins), values in self._gathered.items():
            insert_rows(session, row, values, newer_wins=newer_wins)
        self._gathered.clear()
