"""Rows that stay, and rows that give way."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from support.builders import memory_catalogue

from archive.catalogue.database import transaction
from archive.catalogue.inserting import insert_rows, insert_stored
from archive.catalogue.rows import RecipeRow, SequenceRow, StatementRow, instant, milliseconds


def statement(value: str, counter: int, entry: str = "a") -> dict[str, Any]:
    return {"subject": "s", "layer": "rating", "line": "", "counter": counter, "entry": entry, "value": value}


def test_a_row_that_is_there_stays() -> None:
    catalogue = memory_catalogue()
    with transaction(catalogue.engine) as session:
        insert_rows(session, RecipeRow, [{"key": "k", "document": "one"}, {"key": "k", "document": "two"}])
        insert_rows(session, RecipeRow, [{"key": "k", "document": "three"}])
        insert_rows(session, RecipeRow, [])
        assert session.scalars(select(RecipeRow.document)).all() == ["one"]


def test_the_greater_counter_wins_then_the_greater_entry_whatever_comes_first() -> None:
    for order in (1, -1):
        catalogue = memory_catalogue()
        rows = [statement("old", 1), statement("new", 2), statement("newest", 2, "b")][::order]
        with transaction(catalogue.engine) as session:
            insert_rows(session, StatementRow, rows, newer_wins=True)
            assert session.scalars(select(StatementRow.value)).all() == ["newest"]


def test_rows_as_they_are_kept_come_in_like_any_others() -> None:
    moment = datetime(2026, 3, 18, 22, 0, 1, 500_000, tzinfo=UTC)
    kept = ("2026-03-18/camera:1/1", "2026-03-18", "camera:1", 1, milliseconds(moment), 7, 6, 0, 10.0, None)
    catalogue = memory_catalogue()
    with transaction(catalogue.engine) as session:
        insert_stored(session, "sequence", [kept])
        insert_stored(session, "sequence", [])
        (row,) = session.scalars(select(SequenceRow)).all()
        assert (row.first, row.last, row.frames) == (moment, instant(7), 6)
        session.expunge(row)
        values = {column.name: getattr(row, column.name) for column in SequenceRow.__table__.columns}
        session.execute(SequenceRow.__table__.delete())
        insert_rows(session, SequenceRow, [values])
        (again,) = session.execute(select(*SequenceRow.__table__.columns)).all()
        assert tuple(again) == tuple(values.values())
