"""Rows into tables: those already there stay, or give way to a greater (counter, entry)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from sqlalchemy import Table, and_, or_
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import DeclarativeBase, Session

from archive.catalogue.rows import Base, Instant, instant, milliseconds

Row = type[DeclarativeBase]
Values = dict[str, Any]
Stored = tuple[Any, ...]
"""A row as it is kept: every column in the table's own order, moments as whole milliseconds."""


def insert_rows(session: Session, row: Row, values: Sequence[Values], *, newer_wins: bool = False) -> None:
    """Insert rows; those already there stay, or give way to a greater (counter, entry) if ``newer_wins``.

    All rows have every column.
    """
    if not values:
        return
    # On the connection itself: nothing of what an object mapper adds is wanted for plain rows.
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        names, moments = _columns(row.__tablename__)
        if moments:
            values = [each | {name: milliseconds(each[name]) for name in moments} for each in values]
        kept = [tuple([each[name] for name in names]) for each in values]
        insert_stored(session, row.__tablename__, kept, newer_wins=newer_wins)
    else:
        statement = _statement(row.__tablename__, connection.dialect.name, newer_wins)
        connection.execute(statement, list(values))


def insert_stored(session: Session, table: str, rows: Sequence[Stored], *, newer_wins: bool = False) -> None:
    """The same for rows as they are kept."""
    if not rows:
        return
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(_written(table, newer_wins), rows)
        return
    names, moments = _columns(table)
    values = [dict(zip(names, each, strict=True)) for each in rows]
    for name in moments:
        for each in values:
            each[name] = instant(each[name])
    connection.execute(_statement(table, connection.dialect.name, newer_wins), values)


@cache
def _columns(table: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The names of a table's columns, and of those among them that are moments; every moment is filled."""
    columns = Base.metadata.tables[table].columns
    moments = tuple(column.name for column in columns if isinstance(column.type, Instant))
    return tuple(column.name for column in columns), moments


@cache
def _statement(table: str, dialect: str, newer_wins: bool) -> Any:
    held = Base.metadata.tables[table]
    assert isinstance(held, Table)
    statement = (postgresql if dialect == "postgresql" else sqlite).insert(held)
    if not newer_wins:
        return statement.on_conflict_do_nothing()
    new, old = statement.excluded, held.c
    keys = {column.name for column in held.primary_key}
    return statement.on_conflict_do_update(
        index_elements=list(held.primary_key),
        set_={column.name: new[column.name] for column in held.c if column.name not in keys},
        where=or_(new.counter > old.counter, and_(new.counter == old.counter, new.entry > old.entry)),
    )


@cache
def _written(table: str, newer_wins: bool) -> str:
    """The statement as SQLite's driver takes it, with parameters in the order of the columns."""
    names, _ = _columns(table)
    compiled = _statement(table, "sqlite", newer_wins).compile(
        dialect=sqlite.dialect(), column_keys=list(names)
    )
    assert tuple(compiled.positiontup or ()) == names
    return str(compiled)
