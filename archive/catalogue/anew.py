"""A new catalogue made beside the old one, and put in its place when it is whole.

A program that is killed on the way leaves the old catalogue as it was.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from archive.catalogue.bulk import drop_indexes, make_indexes
from archive.catalogue.database import discard_database, new_database, transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import Base, ChainRow, HoldingRow

_PREFIX = "sqlite:///"


def begin_anew(url: str, old: Engine, volumes: Iterable[str]) -> Catalogue | None:
    """An empty catalogue beside the one of this URL; None where that is no file.

    What the old one tells of other volumes than these, which cannot be read again now, is taken over.
    """
    if not url.startswith(_PREFIX) or not url.removeprefix(_PREFIX):
        return None
    beside = _beside(url)
    discard_database(beside)
    engine = new_database(beside)
    with transaction(engine) as session:
        drop_indexes(session)
        _take_over(session.connection().connection.driver_connection, old, list(volumes))
    return Catalogue(engine, blank=True)


def _take_over(connection: object, old: Engine, volumes: list[str]) -> None:
    marks = ", ".join("?" * len(volumes))
    for row in (HoldingRow, ChainRow):
        table = row.__tablename__
        columns = ", ".join(column.name for column in row.__table__.columns)
        found: list[tuple[object, ...]] = []
        try:
            with old.connect() as reading:
                query = f"SELECT {columns} FROM {table} WHERE volume NOT IN ({marks})"
                found = [tuple(each) for each in reading.exec_driver_sql(query, tuple(volumes))]
        except DatabaseError:
            # What is damaged cannot be taken over; it comes back when the volume is mounted.
            continue
        places = ", ".join("?" * len(row.__table__.columns))
        insert = f"INSERT INTO {table} ({columns}) VALUES ({places})"
        connection.executemany(insert, found)  # type: ignore[attr-defined]


def finish_anew(url: str, made: Catalogue) -> None:
    """Put the new catalogue in the place of the old one, which nobody here holds open any more."""
    with transaction(made.engine) as session:
        make_indexes(session, Base.metadata.tables)
    made.close()
    new, place = (Path(each.removeprefix(_PREFIX)) for each in (_beside(url), url))
    with new.open("rb") as held:
        os.fsync(held.fileno())
    for ending in ("-wal", "-shm"):
        Path(f"{place}{ending}").unlink(missing_ok=True)
    new.replace(place)


def give_up_anew(url: str, made: Catalogue) -> None:
    """Remove what was made so far."""
    made.close()
    discard_database(_beside(url))


def _beside(url: str) -> str:
    return f"{url}.new"
