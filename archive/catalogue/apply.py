"""Entries into rows. Applying is idempotent, and free of order: any interleaving gives the same tables."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Table, and_, delete, or_, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import DeclarativeBase, Session, aliased

from archive.catalogue.checking import check_value
from archive.catalogue.rows import (
    BuildsOnRow,
    DerivativeRow,
    EffectiveRow,
    EntryRow,
    FaultRow,
    FileRow,
    FrameRow,
    OriginRow,
    RecipeRow,
    RollRow,
    SelectionFrameRow,
    StatementRow,
    VersionRow,
)
from archive.errors import DamagedFileError
from archive.journal.current import Statement, selections, statements, versions
from archive.journal.log import Fault
from archive.model.entry import KNOWN_KINDS, SEALED, Entry
from archive.model.identity import canonical, sha256_id
from archive.model.roll import roll_from_value

FRAME_LAYERS = frozenset({"facts", "sequence-number", "sequence-break", "sequence-join"})
"""Layers stated about frames that change where a frame stands in time or sequence."""


@dataclass(kw_only=True)
class Affected:
    """What has to be derived again: cameras by id, and cameras of these frames and sites."""

    cameras: set[str] = field(default_factory=set)
    frames: set[str] = field(default_factory=set)
    sites: set[str] = field(default_factory=set)


def insert_rows(
    session: Session, row: type[DeclarativeBase], values: list[dict[str, Any]], *, newer_wins: bool = False
) -> None:
    """Insert rows; those already there stay, or give way to a greater (counter, entry) if ``newer_wins``."""
    if not values:
        return
    table = row.__table__
    assert isinstance(table, Table)
    dialect = postgresql if session.get_bind().dialect.name == "postgresql" else sqlite
    statement = dialect.insert(table)
    if newer_wins:
        new, old = statement.excluded, table.c
        keys = {column.name for column in table.primary_key}
        statement = statement.on_conflict_do_update(
            index_elements=list(table.primary_key),
            set_={column.name: new[column.name] for column in table.c if column.name not in keys},
            where=or_(new.counter > old.counter, and_(new.counter == old.counter, new.entry > old.entry)),
        )
    else:
        statement = statement.on_conflict_do_nothing()
    session.execute(statement, values)


def apply_entries(session: Session, items: Iterable[Entry | Fault]) -> Affected:
    """Take entries and faults in, in any order; answers what has to be derived again."""
    affected = Affected()
    for item in items:
        if isinstance(item, Fault):
            _fault(session, item.name, str(item.error))
            continue
        if item.kind not in KNOWN_KINDS:
            _set_aside(session, item)
            _entry(session, item)
            continue
        try:
            _apply(session, item, affected)
        except DamagedFileError as error:
            _fault(session, item.name, str(error))
        _entry(session, item)
    return affected


def _fault(session: Session, name: str, message: str) -> None:
    session.merge(FaultRow(place="journal", name=name, message=message))


def _set_aside(session: Session, entry: Entry) -> None:
    """An entry of a newer kind: told, and if it is essential its subjects are not to be changed here."""
    closed = " What it speaks about cannot be changed here." if entry.essential else ""
    _fault(
        session,
        entry.name,
        f"The journal entry {entry.name} was written by a newer release: its kind is not known here. "
        f"It was left as it is and does not count.{closed} Update Noctuary to use it.",
    )
    if entry.essential:
        subjects = {subject for change in entry.changes for subject in change.subjects}
        row = {
            "layer": SEALED,
            "line": entry.id,
            "counter": entry.counter,
            "entry": entry.id,
            "value": "true",
        }
        insert_rows(session, StatementRow, [{"subject": s, **row} for s in sorted(subjects)], newer_wins=True)


def _entry(session: Session, entry: Entry) -> None:
    row = {
        "id": entry.id,
        "name": entry.name,
        "counter": entry.counter,
        "kind": entry.kind,
        "time": entry.time,
        "writer": entry.writer,
        "previous": entry.previous,
        "person": entry.person,
    }
    insert_rows(session, EntryRow, [row])


def _apply(session: Session, entry: Entry, affected: Affected) -> None:
    told = list(statements(entry))
    found = list(versions(entry))
    listed = selections(entry)
    rolls = [statement for statement in told if statement.layer == "ingest"]
    outputs = [statement for statement in told if statement.layer == "delivered"]
    try:
        for statement in told:
            check_value(statement)
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError, OSError) as error:
        raise DamagedFileError(
            f"The journal entry {entry.name} is whole, but what it tells cannot be read ({error!r}).",
            hint="It was left as it is and set aside; every other entry still counts.",
        ) from error
    for statement in rolls:
        _roll(session, statement, affected)
    for statement in outputs:
        _delivered(session, statement)
    plain = [s for s in told if s.layer not in ("ingest", "delivered")]
    insert_rows(session, StatementRow, [_statement(s) for s in plain], newer_wins=True)
    for statement in plain:
        if statement.layer == "clock":
            affected.cameras.add(statement.subject)
        elif statement.layer == "site":
            affected.sites.add(statement.subject)
        elif statement.layer in FRAME_LAYERS:
            affected.frames.add(statement.subject)
    for selection in listed.values():
        pairs = zip(selection.frames, selection.milliseconds, strict=True)
        insert_rows(
            session,
            SelectionFrameRow,
            [
                {"selection": selection.id, "position": position, "frame": frame, "milliseconds": moment}
                for position, (frame, moment) in enumerate(pairs)
            ],
        )
    recipes: dict[str, str] = {}
    rows = []
    replaced = []
    for version in found:
        document = canonical(version.recipe.to_json())
        key = sha256_id(document)
        recipes[key] = document.decode()
        place = {"frame": version.frame, "layer": version.layer, "line": version.line}
        rows.append(
            {
                **place,
                "entry": version.entry,
                "counter": version.counter,
                "time": version.time,
                "person": version.person,
                "recipe": key,
                "in_sequence": version.in_sequence,
                "selection": version.selection,
                "note": version.note,
            }
        )
        replaced += [{**place, "older": older, "entry": version.entry} for older in version.builds_on]
    insert_rows(session, RecipeRow, [{"key": k, "document": d} for k, d in recipes.items()])
    insert_rows(session, VersionRow, rows)
    insert_rows(session, BuildsOnRow, replaced)


def _statement(statement: Statement) -> dict[str, Any]:
    return {
        "subject": statement.subject,
        "layer": statement.layer,
        "line": statement.line,
        "counter": statement.counter,
        "entry": statement.entry,
        "value": json.dumps(statement.value, ensure_ascii=False, sort_keys=True),
    }


def _roll(session: Session, statement: Statement, affected: Affected) -> None:
    roll = roll_from_value(statement.subject.removeprefix("roll:"), statement.value)
    held = session.get(RollRow, roll.id)
    if held is not None and (held.counter, held.entry) >= statement.order:
        return
    if held is not None:
        affected.cameras.add(held.camera)
        affected.cameras.update(_cameras_beside(session, roll.id))
        session.execute(delete(FileRow).where(FileRow.roll == roll.id))
        session.delete(held)
        session.flush()
    affected.cameras.add(roll.camera)
    row = {
        "id": roll.id,
        "folder": roll.folder,
        "camera": roll.camera,
        "night": roll.night,
        "site": roll.site,
        "card": roll.card,
        "counter": statement.counter,
        "entry": statement.entry,
    }
    insert_rows(session, RollRow, [row])
    insert_rows(
        session,
        FileRow,
        [
            {
                "roll": roll.id,
                "path": file.path,
                "size": file.size,
                "digest": file.digest,
                "role": str(file.role),
                "modified": file.modified,
                "original": file.original,
                "facts": json.dumps(file.facts.to_json(), ensure_ascii=False) if file.facts else None,
                "companion_of": file.companion_of,
            }
            for file in roll.files
        ],
    )
    affected.cameras.update(_cameras_beside(session, roll.id))


def _cameras_beside(session: Session, roll: str) -> Iterable[str]:
    """Cameras that hold bytes of a roll too: the same bytes are one frame, and pass to whom had it first."""
    other = aliased(FileRow)
    query = select(RollRow.camera).join(other, other.roll == RollRow.id)
    query = query.join(FileRow, FileRow.digest == other.digest).where(FileRow.roll == roll)
    return session.scalars(query.distinct())


def _delivered(session: Session, statement: Statement) -> None:
    """The outputs of one batch of a job, with their lineage."""
    job = statement.subject.removeprefix("job:")
    value = statement.value
    effectives = [{"key": k, "document": canonical(d).decode()} for k, d in value["effective"].items()]
    insert_rows(session, EffectiveRow, effectives)
    spec = canonical(value["spec"]).decode()
    for output in value["outputs"]:
        held = session.get(DerivativeRow, (job, output["path"]))
        if held is not None and (held.counter, held.entry) >= statement.order:
            continue
        if held is not None:
            place = (OriginRow.job == job, OriginRow.path == output["path"])
            session.execute(delete(OriginRow).where(*place))
            session.delete(held)
            session.flush()
        insert_rows(
            session,
            DerivativeRow,
            [
                {
                    "job": job,
                    "path": output["path"],
                    "size": output["size"],
                    "digest": output["digest"],
                    "spec": spec,
                    "file_key": output["file_key"],
                    "made": value["made"],
                    "document_id": output["document_id"],
                    "instance_id": output["instance_id"],
                    "counter": statement.counter,
                    "entry": statement.entry,
                }
            ],
        )
        insert_rows(
            session,
            OriginRow,
            [
                {
                    "job": job,
                    "path": output["path"],
                    "position": position,
                    "frame": origin["frame"],
                    "pixel_key": origin["pixel_key"],
                    "effective": origin["effective"],
                    "versions": json.dumps(origin["versions"]),
                }
                for position, origin in enumerate(output["inputs"])
            ],
        )


def affected_cameras(session: Session, affected: Affected) -> set[str]:
    """The cameras whose frames have to be derived again."""
    cameras = set(affected.cameras)
    if affected.sites:
        cameras.update(session.scalars(select(RollRow.camera).where(RollRow.site.in_(affected.sites))))
    frames = sorted(affected.frames)
    for start in range(0, len(frames), 500):
        chunk = frames[start : start + 500]
        cameras.update(session.scalars(select(FrameRow.camera).where(FrameRow.id.in_(chunk))))
        found = select(RollRow.camera).join(FileRow, FileRow.roll == RollRow.id)
        cameras.update(session.scalars(found.where(FileRow.digest.in_(chunk))))
    return cameras
