"""Rows that stay, and rows that give way."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from support.builders import memory_catalogue

from archive.catalogue.database import transaction
from archive.catalogue.inserting import Batch, insert_rows
from archive.catalogue.rows import RecipeRow, StatementRow


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


def test_a_batch_gathers_by_table_and_is_empty_once_it_was_flushed() -> None:
    catalogue, batch = memory_catalogue(), Batch()
    batch.add(StatementRow, [statement("one", 1)], newer_wins=True)
    batch.add(RecipeRow, [{"key": "k", "document": "one"}])
    batch.add(StatementRow, [statement("two", 2)], newer_wins=True)
    with transaction(catalogue.engine) as session:
        assert session.scalars(select(StatementRow.value)).all() == []
        batch.flush(session)
        assert session.scalars(select(StatementRow.value)).all() == ["two"]
        session.execute(StatementRow.__table__.delete())
        batch.flush(session)
        assert session.scalars(select(StatementRow.value)).all() == []
