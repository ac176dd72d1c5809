"""A new catalogue made beside the old one, and put in its place when it is whole.

A program that is killed on the way leaves the old catalogue as it was.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from archive.catalogue.bulk import drop_indexes, make_indexes
from archive.catalogue.database import discard_database, new_database, transaction
from archive.catalogue.failing import failure
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import Base, ChainRow, HoldingRow
from archive.errors import ArchiveError, shown
from archive.store.locks import held, holder

_PREFIX = "sqlite:///"
_LOCK = "anew.lock"


@contextlib.contextmanager
def alone(url: str, say: Callable[[str], None]) -> Iterator[None]:
    """Hold what only one program at a time may have that makes this catalogue anew or gives it up.

    ``say`` is told of whom this one waits for. A program that is killed lets go. A catalogue that is no file
    is its server's to look after.

    Raises
    ------
    ArchiveError : where the lock cannot be made, or no lock works.
    """
    with _alone(url, lambda path: say(f"Waiting: {holder(path)}")):
        yield


@contextlib.contextmanager
def _alone(url: str, waiting: Callable[[Path], None]) -> Iterator[None]:
    if not is_file(url):
        yield
        return
    path = _path(url).with_name(_LOCK)
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
    except OSError as error:
        raise ArchiveError(
            f"The cache folder {shown(str(path.parent))} cannot be written: {error.strerror}.",
            hint="The archive itself is untouched. Check the folder's permissions and its room, or set "
            "XDG_CACHE_HOME to another one.",
        ) from error
    with held(descriptor, "Making the catalogue anew", lambda: waiting(path)):
        yield


def sweep(url: str) -> None:
    """Remove what a program that was killed left beside; not what one at work is making."""
    if is_file(url) and _path(_beside(url)).exists():
        with contextlib.suppress(_AtWorkError, ArchiveError, OSError), _alone(url, _at_work):
            discard_database(_beside(url))


class _AtWorkError(Exception):
    pass


def _at_work(_path: Path) -> None:
    raise _AtWorkError


def is_file(url: str) -> bool:
    """Whether a catalogue is a file of its own."""
    return url.startswith(_PREFIX) and url != _PREFIX


def begin_anew(url: str, old: Engine, volumes: Iterable[str]) -> Catalogue:
    """An empty catalogue beside the one of this URL, which is a file; only to be called while ``alone``.

    What the old one tells of other volumes than these, which cannot be read again now, is taken over.
    """
    beside = _beside(url)
    discard_database(beside)
    made = Catalogue(new_database(beside), blank=True)
    try:
        with transaction(made.engine) as session:
            drop_indexes(session)
            _take_over(session.connection().connection.driver_connection, old, list(volumes))
    except BaseException:
        give_up_anew(url, made)
        raise
    return made


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
        except DatabaseError as error:
            told = failure(old, error)
            if not told.spoiled:
                raise told from error
            # What is damaged cannot be taken over; it comes back when the volume is mounted.
            continue
        places = ", ".join("?" * len(row.__table__.columns))
        insert = f"INSERT INTO {table} ({columns}) VALUES ({places})"
        connection.executemany(insert, found)  # type: ignore[attr-defined]


def finish_anew(url: str, made: Catalogue) -> None:
    """Put the new catalogue in the place of the old one, which nobody here holds open any more.

    Raises
    ------
    ArchiveError : when that cannot be done, as on Windows while another program holds the old one open.
    """
    with transaction(made.engine) as session:
        make_indexes(session, Base.metadata.tables)
    made.close()
    new, place = _path(_beside(url)), _path(url)
    try:
        # Not only to be read: Windows syncs nothing else.
        with new.open("r+b") as written:
            os.fsync(written.fileno())
        for ending in ("-wal", "-shm"):
            Path(f"{place}{ending}").unlink(missing_ok=True)
        new.replace(place)
    except OSError as error:
        raise ArchiveError(
            f"The new catalogue could not be put in the place of {shown(str(place))}: {error.strerror}.",
            hint="The old one stays; masters and journal are untouched. End every other program that uses "
            "this archive, and run `noctuary rebuild` again.",
        ) from error


def give_up_anew(url: str, made: Catalogue) -> None:
    """Remove what was made so far."""
    made.close()
    discard_database(_beside(url))


def _beside(url: str) -> str:
    return f"{url}.new"


def _path(url: str) -> Path:
    return Path(url.removeprefix(_PREFIX))
