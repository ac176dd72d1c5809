"""Opening the catalogue's database: schema steps, newer and damaged files."""

from __future__ import annotations

from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import select, text

from archive.catalogue.database import HEAD, migrations_folder, open_database, transaction
from archive.catalogue.rows import Base, FaultRow
from archive.errors import ArchiveError


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'catalogue.sqlite'}"


def test_the_schema_steps_give_exactly_the_tables_of_the_models(url: str) -> None:
    engine = open_database(url)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_the_head_that_the_code_knows_is_the_newest_step() -> None:
    newest = max(path.name[:4] for path in (migrations_folder() / "versions").glob("[0-9]*.py"))
    assert newest == HEAD
    assert ScriptDirectory(str(migrations_folder())).get_heads() == [HEAD]


def test_a_new_database_is_at_the_head_and_opening_it_again_keeps_it(url: str) -> None:
    engine = open_database(url)
    with transaction(engine) as session:
        session.add(FaultRow(place="journal", name="x", message="kept"))
    engine.dispose()
    again = open_database(url)
    with transaction(again) as session:
        assert session.scalars(select(FaultRow.message)).all() == ["kept"]
    with again.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar() == HEAD


def test_a_newer_schema_is_refused_by_name_and_left_alone(url: str, tmp_path: Path) -> None:
    engine = open_database(url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    before = (tmp_path / "catalogue.sqlite").read_bytes()
    with pytest.raises(ArchiveError, match=f"schema 9999, this one knows {HEAD}") as caught:
        open_database(url)
    assert "Nothing was changed" in caught.value.hint
    assert (tmp_path / "catalogue.sqlite").read_bytes() == before


def test_a_file_that_is_no_database_is_told_and_masters_are_said_to_be_safe(url: str, tmp_path: Path) -> None:
    (tmp_path / "catalogue.sqlite").write_bytes(b"these bytes are no database at all" * 100)
    with pytest.raises(ArchiveError, match="cannot be opened") as caught:
        open_database(url)
    assert "Masters and journal are untouched" in caught.value.hint


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="cannot be opened"):
        open_database(f"sqlite:///{tmp_path / 'nowhere' / 'catalogue.sqlite'}")


def test_a_transaction_that_fails_leaves_nothing(url: str) -> None:
    engine = open_database(url)
    with pytest.raises(RuntimeError, match="in the middle"), transaction(engine) as session:
        session.add(FaultRow(place="journal", name="x", message="half"))
        session.flush()
        raise RuntimeError("in the middle")
    with transaction(engine) as session:
        assert session.scalars(select(FaultRow)).all() == []


def test_readers_and_a_writer_do_not_shut_each_other_out(url: str) -> None:
    engine = open_database(url)
    with engine.connect() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
