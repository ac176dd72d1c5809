"""Opening the catalogue's database: engine, transactions, schema version."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Engine,
    MetaData,
    SelectBase,
    Table,
    create_engine,
    event,
    literal_column,
    text,
)
from sqlalchemy.dialects import sqlite
from sqlalchemy.exc import DatabaseError, OperationalError, SQLAlchemyError
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool
from sqlalchemy.schema import DropTable

from archive.catalogue.failing import failure, in_words
from archive.catalogue.rows import Base
from archive.errors import ArchiveError

HEAD = "0008"
"""The newest schema step in ``migrations/``; a test holds the two together."""
PLACE: ColumnElement[Any] = literal_column("?")
"""Stands in a query for a value that is given to ``kept_rows``."""
_CACHE_KIB = 256 * 1024


def open_database(url: str) -> Engine:
    """An engine on a catalogue whose schema is the present one; made or upgraded if need be.

    Parameters
    ----------
    url : an SQLAlchemy URL, ``sqlite:///…`` or ``postgresql+psycopg://…``.

    Raises
    ------
    ArchiveError : when the database is newer than this release, or cannot be opened.
    """
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _sqlite_settings)
    with in_words(engine):
        found = _schema(engine)
        if found != HEAD:
            if found is not None and found > HEAD:
                raise ArchiveError(
                    f"The catalogue was written by a newer release: schema {found}, this one knows {HEAD}.",
                    hint="Nothing was changed. Update Noctuary, or run `noctuary rebuild` to make it anew.",
                )
            _upgrade(engine, found)
    return engine


def new_database(url: str) -> Engine:
    """An empty catalogue in a new file, written with no care for what a crash would leave of it."""
    engine = create_engine(url, poolclass=StaticPool)
    event.listen(engine, "connect", _building_settings)
    try:
        with in_words(engine):
            _upgrade(engine, None)
    except BaseException:
        engine.dispose()
        discard_database(url)
        raise
    return engine


def discard_database(url: str) -> bool:
    """Remove a catalogue, readable or not: its file, or its tables at a server; False where that fails."""
    if not url.startswith("sqlite:///"):
        return _drop_tables(url)
    path = url.removeprefix("sqlite:///")
    for ending in ("", "-wal", "-shm"):
        Path(f"{path}{ending}").unlink(missing_ok=True)
    return True


def _drop_tables(url: str) -> bool:
    engine = create_engine(url)
    names = [*(table.name for table in reversed(Base.metadata.sorted_tables)), "alembic_version"]
    try:
        with engine.begin() as connection:
            # By name, whatever their columns are: they may be a newer release's, or half made.
            for name in names:
                connection.execute(DropTable(Table(name, MetaData()), if_exists=True))
    except SQLAlchemyError:
        return False
    finally:
        engine.dispose()
    return True


@contextmanager
def transaction(engine: Engine) -> Iterator[Session]:
    """A session that commits at the end, or rolls everything back.

    Raises
    ------
    CatalogueError : where the database cannot do what is asked of it.
    """
    with in_words(engine), Session(engine, expire_on_commit=False) as session, session.begin():
        yield session


def kept_rows(session: Session, query: SelectBase, *values: object) -> Iterator[tuple[Any, ...]]:
    """What a query finds in SQLite, as it is kept and at the driver's own speed; millions of rows pass here.

    ``values`` are for each ``PLACE`` in the query, in their order.
    """
    cursor: Any = session.connection().connection.cursor()
    found: Iterator[tuple[Any, ...]] = cursor.execute(_written_out(query), values)
    return found


@lru_cache(maxsize=64)
def _written_out(query: SelectBase) -> str:
    return str(query.compile(dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True}))


def migrations_folder() -> Path:
    """The schema steps: inside the installed package, or beside it in a checkout."""
    package = Path(str(resources.files("archive")))
    installed = package / "_migrations"
    return installed if installed.is_dir() else package.parent / "migrations"


def _schema(engine: Engine) -> str | None:
    try:
        with engine.connect() as connection:
            return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    except OperationalError as error:
        if "no such table" in str(error.orig):
            return None
        raise
    except DatabaseError as error:
        if "alembic_version" in str(error.orig) and "does not exist" in str(error.orig):
            return None
        raise


def _upgrade(engine: Engine, found: str | None) -> None:
    # Imported here because most commands find the schema in place, and this import is slow.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            # Its driver begins no transaction before DDL by itself: without one, a step that fails half-way
            # would leave half a schema, and two programs could upgrade at once.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except Exception as error:
            # Whatever a step meets, faults of its own too: leaving this block takes everything back.
            if isinstance(error, DatabaseError) and not (told := failure(engine, error)).spoiled:
                raise told from error
            raise ArchiveError(
                f"The catalogue could not be brought from schema {found or 'none'} to {HEAD}: "
                f"{getattr(error, 'orig', None) or error}.",
                hint="It was left as it was; masters and journal are untouched. `noctuary rebuild` makes a "
                "new one from them.",
            ) from error


def _building_settings(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=OFF")
    cursor.execute("PRAGMA synchronous=OFF")
    cursor.execute("PRAGMA locking_mode=EXCLUSIVE")
    cursor.execute("PRAGMA temp_store=MEMORY")
    cursor.execute(f"PRAGMA cache_size=-{_CACHE_KIB}")
    cursor.close()


def _sqlite_settings(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=NORMAL")
    cursor.execute("PRAGMA busy_timeout=20000")
    cursor.close()
