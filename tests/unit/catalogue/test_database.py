"""Opening the catalogue's database: schema steps, newer and damaged files."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, insert, inspect, select, text
from support.builders import camera, entry, ingest, memory_catalogue, rating, sequence_roll, site

from archive.catalogue import database
from archive.catalogue.database import HEAD, migrations_folder, open_database, transaction
from archive.catalogue.index import Catalogue
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


def steps_with(folder: Path, *further: tuple[str, str, str]) -> Path:
    """A copy of the schema steps with further ones: number, number before, body of ``upgrade``."""
    copied = folder / "steps"
    shutil.copytree(migrations_folder(), copied)
    for number, before, body in further:
        text = (
            f'"""A step"""\nfrom alembic import op\nrevision = "{number}"\ndown_revision = "{before}"\n\n\n'
            f"def upgrade():\n    {body}\n"
        )
        (copied / "versions" / f"{number}_more.py").write_text(text)
    return copied


def test_an_upgrade_that_fails_half_way_leaves_the_old_catalogue_usable(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_database(url).dispose()
    body = "op.execute('CREATE TABLE half (x INTEGER)'); op.execute('CREATE TABLE frame (x INTEGER)')"
    further = steps_with(tmp_path, ("0900", HEAD, body))
    with monkeypatch.context() as patched:
        patched.setattr(database, "migrations_folder", lambda: further)
        patched.setattr(database, "HEAD", "0900")
        with pytest.raises(ArchiveError, match=f"from schema {HEAD} to 0900") as caught:
            open_database(url)
        assert "left as it was" in caught.value.hint
    again = open_database(url)
    with again.connect() as connection:
        names = set(connection.execute(text("SELECT name FROM sqlite_master")).scalars())
    assert "half" not in names


def test_catalogues_of_every_earlier_schema_are_brought_up_with_what_they_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Filled at each earlier step, opened today, and derived anew from what it holds."""
    entries = [entry(camera(), site(), ingest(sequence_roll(range(1, 7))), rating(2, 4), kind="ingest")]
    fresh = memory_catalogue()
    fresh.apply(entries)
    for schema in [f"{number:04d}" for number in range(1, int(HEAD))]:
        url = f"sqlite:///{tmp_path / f'{schema}.sqlite'}"
        older = tmp_path / schema
        shutil.copytree(migrations_folder(), older)
        for step in (older / "versions").glob("[0-9]*.py"):
            if step.name[:4] > schema:
                step.unlink()
        with monkeypatch.context() as patched:
            patched.setattr(database, "migrations_folder", lambda older=older: older)
            patched.setattr(database, "HEAD", schema)
            engine = open_database(url)
        _fill(engine, fresh)
        engine.dispose()
        upgraded = Catalogue(open_database(url))
        upgraded.apply([])
        assert upgraded.dump() == fresh.dump()


def _fill(engine: Engine, fresh: Catalogue) -> None:
    """What the entries say, as far as this schema has room for it; frames as a stale derivation left them."""
    with engine.connect() as connection:
        held = inspect(connection).get_table_names()
        for table in Base.metadata.sorted_tables:
            if table.name not in held or table.name == "mark":
                continue
            known = {column["name"] for column in inspect(connection).get_columns(table.name)}
            with fresh.engine.connect() as source:
                rows = [
                    {name: value for name, value in row._mapping.items() if name in known}
                    for row in source.execute(select(table))
                ]
            if table.name == "frame":
                rows = [row | {"night": "1999-01-01"} for row in rows]
            if rows:
                connection.execute(insert(table), rows)
        connection.commit()
