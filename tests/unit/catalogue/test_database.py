"""Opening the catalogue's database: schema steps, newer and damaged files."""

from __future__ import annotations

import gzip
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, insert, inspect, select, text
from support.builders import (
    CAMERA,
    camera,
    delivered,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    sequence_roll,
    site,
)

from archive.catalogue import database
from archive.catalogue.database import HEAD, migrations_folder, open_database, transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import Base, FaultRow
from archive.errors import ArchiveError
from archive.exports.specs import specs
from archive.model.entry import SEQUENCE_NUMBER, Change


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
    with pytest.raises(ArchiveError, match=r"is damaged: .*: file is not a database") as caught:
        open_database(url)
    assert "Masters and journal are safe" in caught.value.hint


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


@pytest.mark.parametrize(
    "body",
    ["raise KeyError('half')", "from alembic.util import CommandError; raise CommandError('no such step')"],
    ids=["a fault of the step", "a fault of the steps"],
)
def test_an_upgrade_that_fails_in_any_way_is_told_and_takes_everything_back(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str
) -> None:
    open_database(url).dispose()
    further = steps_with(tmp_path, ("0900", HEAD, f"op.execute('CREATE TABLE half (x INTEGER)'); {body}"))
    with monkeypatch.context() as patched:
        patched.setattr(database, "migrations_folder", lambda: further)
        patched.setattr(database, "HEAD", "0900")
        with pytest.raises(ArchiveError, match=f"from schema {HEAD} to 0900") as caught:
            open_database(url)
        assert "`noctuary rebuild` makes" in caught.value.hint
    with open_database(url).connect() as connection:
        assert "half" not in set(connection.execute(text("SELECT name FROM sqlite_master")).scalars())


def test_steps_that_are_nowhere_to_be_found_are_told(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "migrations_folder", lambda: tmp_path / "nowhere")
    with pytest.raises(ArchiveError, match="could not be brought from schema none"):
        open_database(url)


def test_a_catalogue_that_is_no_file_of_ours_is_given_up_by_its_tables(tmp_path: Path) -> None:
    """As at a server: what else lies in the database stays, and a newer or damaged schema is no hindrance."""
    url = f"sqlite+pysqlite:///{tmp_path / 'served.sqlite'}"
    engine = open_database(url)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
        connection.execute(text("DROP TABLE frame"))
        connection.execute(text("CREATE TABLE theirs (x INTEGER)"))
    engine.dispose()
    with pytest.raises(ArchiveError, match="newer release"):
        open_database(url)
    assert database.discard_database(url)
    with open_database(url).connect() as connection:
        names = set(inspect(connection).get_table_names())
    assert {"frame", "theirs"} <= names
    assert not database.discard_database("sqlite+pysqlite:////nowhere/at/all.sqlite")


def test_numbers_that_a_later_one_had_replaced_are_read_again(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Up to schema 0004 a frame had one number; what it had before is in the journal only."""
    with monkeypatch.context() as patched:
        patched.setattr(database, "migrations_folder", lambda: steps_to("0004", tmp_path))
        patched.setattr(database, "HEAD", "0004")
        engine = open_database(url)
    with engine.begin() as connection:
        connection.execute(
            text(
                "INSERT INTO statement VALUES ('xxh128:1', 'sequence-number', '', 7, 'sha256:b', '{}'),"
                " ('xxh128:1', 'rating', '', 7, 'sha256:b', '4')"
            )
        )
        for entry_, kind in (("sha256:a", "sequence"), ("sha256:b", "rating")):
            row = {"id": entry_, "kind": kind}
            connection.execute(
                text("INSERT INTO entry VALUES (:id, :id, 7, :kind, '2026', 'w', NULL, 'Ingrid')"), row
            )
    engine.dispose()
    with open_database(url).connect() as connection:
        lines = connection.execute(text("SELECT layer, line FROM statement ORDER BY layer")).all()
        assert [tuple(line) for line in lines] == [("rating", ""), ("sequence-number", "sha256:b")]
        assert connection.execute(text("SELECT kind FROM entry")).scalars().all() == ["rating"]


ENTRIES = (
    entry(camera(), site(), ingest(sequence_roll(range(1, 7))), rating(2, 4), kind="ingest"),
    entry(own(1, exposure(0.5)), own(2, exposure(0.5)), kind="recipe", counter=2),
    entry(own(1, exposure(1.0)), kind="recipe", counter=3),
    entry(
        Change(
            subjects=(frame_id(1),),
            layer=SEQUENCE_NUMBER,
            value={"night": "2026-03-18", "camera": CAMERA, "number": 2},
        ),
        kind="sequence",
        counter=4,
    ),
    entry(
        Change(
            subjects=("job:1",),
            layer="delivered",
            line="a",
            value=delivered(spec=specs()[0].to_json()),
        ),
        kind="job-delivered",
        counter=5,
    ),
)
FROZEN = Path(__file__).parent / "schemas"
"""Catalogues of ENTRIES as releases wrote them, one a schema, as SQL; never to be written again."""


def told() -> Catalogue:
    """ENTRIES in a catalogue of today, with a volume that holds two files."""
    fresh = memory_catalogue()
    fresh.apply(ENTRIES)
    held = [("100NOCTU/NOCT0001.DNG", frame_id(1), 4), ("100NOCTU/NOCT0002.DNG", frame_id(2), 4)]
    fresh.hold("volume-1", [("2026-03-18/north-7c1f9a2e", "sha256:0", held)])
    return fresh


FILLED = ("version", "builds_on", "derivative", "origin", "effective", "sequence", "holding", "chain", "file")


def test_catalogues_of_every_earlier_schema_are_brought_up_with_what_they_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Filled at each earlier step, opened today, and derived anew from what it holds."""
    fresh = told()
    wanted = fresh.dump()
    assert all(wanted[table] for table in FILLED if table != "builds_on")
    for schema in [f"{number:04d}" for number in range(1, int(HEAD))]:
        url = f"sqlite:///{tmp_path / f'{schema}.sqlite'}"
        with monkeypatch.context() as patched:
            patched.setattr(database, "migrations_folder", lambda made=steps_to(schema, tmp_path): made)
            patched.setattr(database, "HEAD", schema)
            engine = open_database(url)
        _fill(engine, fresh, schema)
        engine.dispose()
        upgraded = Catalogue(open_database(url))
        upgraded.apply(ENTRIES)
        assert upgraded.dump() == wanted
        assert len(upgraded.dump()["contest"]) == 1


@pytest.mark.parametrize("schema", sorted(path.name[:4] for path in FROZEN.glob("*.sql.gz")))
def test_a_catalogue_that_a_release_wrote_is_what_the_steps_make_and_is_brought_up(
    schema: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A released step must not be changed afterwards: what it once made lies about."""
    with monkeypatch.context() as patched:
        patched.setattr(database, "migrations_folder", lambda: steps_to(schema, tmp_path))
        patched.setattr(database, "HEAD", schema)
        made = open_database(f"sqlite:///{tmp_path / 'made.sqlite'}")
    frozen = tmp_path / "frozen.sqlite"
    with closing(sqlite3.connect(frozen)) as connection:
        connection.executescript(gzip.decompress((FROZEN / f"{schema}.sql.gz").read_bytes()).decode())
        written = set(connection.execute("SELECT type, name, sql FROM sqlite_master"))
    with made.connect() as steps:
        assert {
            tuple(row) for row in steps.execute(text("SELECT type, name, sql FROM sqlite_master"))
        } == written
    upgraded = Catalogue(open_database(f"sqlite:///{frozen}"))
    upgraded.apply(ENTRIES)
    assert upgraded.dump() == told().dump()


def test_every_released_schema_is_kept() -> None:
    assert {path.name[:4] for path in FROZEN.glob("*.sql.gz")} >= {"0001", "0002", "0003", "0004", "0008"}


def steps_to(schema: str, folder: Path) -> Path:
    """A copy of the schema steps up to one."""
    older = folder / f"steps-{schema}"
    if not older.exists():
        shutil.copytree(migrations_folder(), older)
        for step in (older / "versions").glob("[0-9]*.py"):
            if step.name[:4] > schema:
                step.unlink()
    return older


def _fill(engine: Engine, fresh: Catalogue, schema: str) -> None:
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
            if table.name == "statement" and schema < "0005":
                rows = [row | {"line": ""} if row["layer"] == SEQUENCE_NUMBER else row for row in rows]
            if table.name == "frame":
                rows = [row | {"night": "1999-01-01", "facts": "{}"} for row in rows]
            if rows:
                connection.execute(insert(table), rows)
        connection.commit()
