"""What a database answers when it cannot do its work, in words that say what is safe and what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.exc import DatabaseError

from archive.errors import ArchiveError, Exit, shown

_SAFE = "Masters and journal are safe: nothing of them is lost."
_BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_BARRED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH)
_DISK = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
_UNREADABLE = (sqlite3.SQLITE_IOERR_READ, sqlite3.SQLITE_IOERR_SHORT_READ)


class CatalogueError(ArchiveError):
    """The catalogue cannot be read or written; ``spoiled`` where making it anew is what helps."""

    def __init__(self, message: str, *, hint: str, spoiled: bool) -> None:
        super().__init__(message, hint=hint, exit_code=Exit.ATTENTION)
        self.spoiled = spoiled


@contextmanager
def in_words(engine: Engine) -> Iterator[None]:
    """What fails in this database within is told in words.

    Raises
    ------
    CatalogueError : when it is damaged, full, at work for another program or not to be had.
    """
    try:
        yield
    except (DatabaseError, sqlite3.DatabaseError) as error:
        raise failure(engine, error) from error


def failure(engine: Engine, error: BaseException) -> CatalogueError:
    """What an error of the database means."""
    why = getattr(error, "orig", None) or error
    place = engine.url.database
    if engine.dialect.name != "sqlite" or not place:
        return CatalogueError(
            f"The catalogue's database failed: {shown(str(why).strip())}.",
            hint=f"{_SAFE} Check the server; if it is well, `noctuary rebuild` makes the catalogue anew.",
            spoiled=True,
        )
    file, folder = shown(place), shown(str(Path(place).parent))
    extended = getattr(why, "sqlite_errorcode", None) or 0
    # Such codes hold the plain one in their lowest byte.
    code = extended & 0xFF
    if code in _DISK and extended not in _UNREADABLE:
        what = "is full" if code == sqlite3.SQLITE_FULL else f"cannot be read or written ({why})"
        return CatalogueError(
            f"The folder of the catalogue {what}: {folder}.",
            hint=f"{_SAFE} Free room there, or set XDG_CACHE_HOME to a folder on another drive; then run the "
            "same command again.",
            spoiled=False,
        )
    if code in _BUSY:
        return CatalogueError(
            f"Another program is writing the catalogue, and did not end in time: {file}.",
            hint=f"{_SAFE} Run the same command again when the other has ended.",
            spoiled=False,
        )
    if code in _BARRED:
        return CatalogueError(
            f"The catalogue cannot be opened or written: {file}: {why}.",
            hint=f"{_SAFE} Check the permissions of its folder, or set XDG_CACHE_HOME to another one.",
            spoiled=False,
        )
    return CatalogueError(
        f"The catalogue is damaged: {file}: {why}.",
        hint=f"{_SAFE} `noctuary rebuild` makes the catalogue anew from them; then run the same "
        "command again.",
        spoiled=True,
    )
