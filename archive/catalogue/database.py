"""Opening the catalogue's database: engine, transactions, schema version."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlalchemy.orm import Session

from archive.errors import ArchiveError

HEAD = "0003"
"""The newest schema step in ``migrations/``; a test holds the two together."""


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
    try:
        found = _schema(engine)
        if found != HEAD:
            if found is not None and found > HEAD:
                raise ArchiveError(
                    f"The catalogue was written by a newer release: schema {found}, this one knows {HEAD}.",
                    hint="Nothing was changed. Update Noctuary, or run `noctuary rebuild` to make it anew.",
                )
            _upgrade(engine)
    except DatabaseError as error:
        raise ArchiveError(
            f"The catalogue cannot be opened: {error.orig}.",
            hint="Masters and journal are untouched. `noctuary rebuild` makes a new one from them.",
        ) from error
    return engine


def discard_database(url: str) -> bool:
    """Remove a catalogue that is a file, readable or not; False where it is none of ours to remove."""
    if not url.startswith("sqlite:///"):
        return False
    path = url.removeprefix("sqlite:///")
    for ending in ("", "-wal", "-shm"):
        Path(f"{path}{ending}").unlink(missing_ok=True)
    return True


@contextmanager
def transaction(engine: Engine) -> Iterator[Session]:
    """A session that commits at the end, or rolls everything back."""
    with Session(engine, expire_on_commit=False) as session, session.begin():
        yield session


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


def _upgrade(engine: Engine) -> None:
    # Imported here because most commands find the schema in place, and this import is slow.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _sqlite_settings(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=NORMAL")
    cursor.execute("PRAGMA busy_timeout=20000")
    cursor.close()
