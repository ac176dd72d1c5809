"""A database that cannot do its work: said in words, with what is safe and what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.exc import OperationalError
from support.builders import entry, rating
from support.exports import SEQUENCE, studio

from archive.catalogue import database
from archive.catalogue.database import kept_rows, open_database, transaction
from archive.catalogue.failing import CatalogueError, failure
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import Base, FaultRow
from archive.errors import ArchiveError, Exit
from archive.workspace import Workspace, open_archive

SAFE = "Masters and journal are safe"


@pytest.fixture
def engine(tmp_path: Path) -> Engine:
    return open_database(f"sqlite:///{tmp_path / 'catalogue.sqlite'}")


def with_setting(engine: Engine, pragma: str) -> Engine:
    """The same, whose connections all have this setting."""
    engine.dispose()
    event.listen(engine, "connect", lambda connection, _: connection.execute(f"PRAGMA {pragma}"))
    return engine


def spoil(path: Path, name: str) -> None:
    """Overwrite the first page of a table or an index."""
    with closing(sqlite3.connect(path)) as held:
        ((page,),) = held.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (name,)).fetchall()
        ((size,),) = held.execute("PRAGMA page_size").fetchall()
    with path.open("r+b") as stream:
        stream.seek((page - 1) * size)
        stream.write(b"\xa5" * size)


def nights(workspace: Workspace) -> None:
    workspace.nights()


def frames(workspace: Workspace) -> None:
    workspace.frames(SEQUENCE)


def rate(workspace: Workspace) -> None:
    workspace.statements.rate([f"{SEQUENCE}#1"], 5)


@pytest.mark.parametrize("table", [*Base.metadata.tables, "alembic_version", "frame_by_night"])
def test_a_damaged_page_in_any_table_is_told_and_a_rebuild_mends_it(tmp_path: Path, table: str) -> None:
    """`nights`, `frames`, `rate` and `rebuild` ended in tracebacks."""
    place = studio(tmp_path)
    path = Path(str(place.workspace.books.catalogue.engine.url.database))
    place.workspace.close()
    good = path.read_bytes()
    told = []
    for command in (nights, frames, rate):
        path.write_bytes(good)
        spoil(path, table)
        try:
            with open_archive(place.root) as workspace:
                command(workspace)
        except ArchiveError as error:
            told.append(error)
    for refused in told:
        assert "catalogue is damaged" in refused.message and path.name in refused.message
        assert SAFE in refused.hint and "`noctuary rebuild`" in refused.hint
        assert refused.exit_code is Exit.ATTENTION
    assert told or table not in ("frame", "statement", "night_camera", "alembic_version")
    path.write_bytes(good)
    spoil(path, table)
    with open_archive(place.root, anew=True) as workspace:
        assert workspace.custody.rebuild(lambda *_: None).frames == 6
        workspace.nights()
        rate(workspace)


def test_a_full_folder_is_named_and_what_to_do(engine: Engine, tmp_path: Path) -> None:
    full = with_setting(engine, "max_page_count = 1")
    with pytest.raises(CatalogueError, match=f"is full: {tmp_path}") as caught, transaction(full) as session:
        session.add_all(FaultRow(place="journal", name=str(n), message="x" * 900) for n in range(400))
    assert SAFE in caught.value.hint and "XDG_CACHE_HOME" in caught.value.hint
    assert not caught.value.spoiled


def test_a_rebuild_without_room_leaves_the_old_catalogue_and_nothing_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = studio(tmp_path)
    books = place.workspace.books
    path = Path(str(books.catalogue.engine.url.database))
    before = books.catalogue.dump()
    usual = database._building_settings
    for pages in (2, 70):

        def small(connection: sqlite3.Connection, record: object, pages: int = pages) -> None:
            usual(connection, record)
            connection.execute(f"PRAGMA max_page_count = {pages}")

        monkeypatch.setattr(database, "_building_settings", small)
        with pytest.raises(CatalogueError, match="is full"):
            books.rebuild()
        assert books.catalogue.dump() == before
        assert not list(path.parent.glob("catalogue.sqlite.new*"))
    place.workspace.close()


def test_a_catalogue_that_is_only_busy_or_without_room_is_not_given_up_by_a_rebuild(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = studio(tmp_path)
    path = Path(str(place.workspace.books.catalogue.engine.url.database))
    place.workspace.close()
    before = path.read_bytes()

    def settings(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA journal_mode=WAL")
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise error

    monkeypatch.setattr(database, "_sqlite_settings", settings)
    with pytest.raises(CatalogueError, match="is full"):
        open_archive(place.root, anew=True)
    assert path.read_bytes() == before


def test_a_catalogue_that_another_program_writes_for_long_is_said_to_be_busy(
    engine: Engine, tmp_path: Path
) -> None:
    waiting = with_setting(engine, "busy_timeout = 0")
    with closing(sqlite3.connect(tmp_path / "catalogue.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(CatalogueError, match="Another program is writing") as caught:
            Catalogue(waiting).apply([entry(rating(1, 4))])
    assert "again when the other has ended" in caught.value.hint
    assert Catalogue(waiting).apply([entry(rating(1, 4))]) == []


def test_a_catalogue_that_cannot_be_written_is_told(engine: Engine) -> None:
    closed = with_setting(engine, "query_only = 1")
    with pytest.raises(CatalogueError, match="cannot be opened or written") as caught:
        Catalogue(closed).apply([entry(rating(1, 4))])
    assert "permissions" in caught.value.hint


def test_what_the_driver_itself_raises_is_told_too(engine: Engine, tmp_path: Path) -> None:
    engine.dispose()
    spoil(tmp_path / "catalogue.sqlite", "fault")
    with pytest.raises(CatalogueError, match="is damaged"), transaction(engine) as session:
        list(kept_rows(session, Base.metadata.tables["fault"].select()))


@pytest.mark.parametrize(
    ("code", "says", "spoiled"),
    [
        (sqlite3.SQLITE_IOERR_WRITE, "cannot be read or written", False),
        (sqlite3.SQLITE_IOERR_READ, "is damaged", True),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "Another program", False),
        (sqlite3.SQLITE_CANTOPEN, "cannot be opened", False),
        (sqlite3.SQLITE_CORRUPT_INDEX, "is damaged", True),
        (None, "is damaged", True),
    ],
)
def test_every_kind_of_failure_has_words(engine: Engine, code: int | None, says: str, spoiled: bool) -> None:
    raised = sqlite3.OperationalError("as the driver says")
    if code is not None:
        raised.sqlite_errorcode = code
    told = failure(engine, OperationalError("SELECT", {}, raised))
    assert says in told.message
    assert "as the driver says" in told.message or code == sqlite3.SQLITE_BUSY_SNAPSHOT
    assert SAFE in told.hint
    assert told.spoiled is spoiled


def test_a_server_that_fails_is_told_without_its_password() -> None:
    class Server:
        dialect = type("Dialect", (), {"name": "postgresql"})
        url = create_engine("sqlite://").url.set(drivername="postgresql", password="hidden", host="somewhere")

    told = failure(Server(), OperationalError("SELECT 1", {}, Exception("connection refused\n")))  # type: ignore[arg-type]
    assert told.message == "The catalogue's database failed: connection refused."
    assert "hidden" not in str(told) and "Check the server" in told.hint


def test_faults_of_the_program_are_not_taken_for_damage(engine: Engine) -> None:
    def wrong(session: object) -> None:
        raise ValueError("of ours")

    work: Callable[[object], None] = wrong
    with pytest.raises(ValueError, match="of ours"), transaction(engine) as session:
        session.execute(text("SELECT 1"))
        work(session)
