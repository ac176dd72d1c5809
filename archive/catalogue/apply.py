"""Entries into rows. Applying is idempotent, and free of order: any interleaving gives the same tables."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from archive.catalogue import registers
from archive.catalogue.affected import Affected
from archive.catalogue.checking import check_value
from archive.catalogue.inserting import Batch, Values, insert_rows
from archive.catalogue.rollrows import roll_rows
from archive.catalogue.rows import (
    BuildsOnRow,
    DerivativeRow,
    EffectiveRow,
    EntryRow,
    FaultRow,
    FileRow,
    OriginRow,
    PairRow,
    RecipeRow,
    RollRow,
    SelectionFrameRow,
    StatementRow,
    VersionRow,
)
from archive.errors import DamagedFileError, shown
from archive.journal.current import Statement, selections, statements, versions
from archive.journal.log import Fault
from archive.model.entry import PAIRING, SEALED, Entry, Version
from archive.model.identity import canonical, sha256_id

FRAME_LAYERS = frozenset({"facts", "pairing", "sequence-number", "sequence-break", "sequence-join"})
"""Layers stated about frames that change where a frame stands in time or sequence."""
MARK_LAYERS = frozenset({"rating", "keyword"})
"""Layers stated about frames that are put beside a frame, and change nothing else."""

SET_ASIDE = "journal"
"""Where the faults of entries that do not count are put down."""
_BATCH = 2000


def apply_entries(session: Session, items: Iterable[Entry | Fault]) -> Affected:
    """Take entries and faults in, in any order; answers what has to be derived again."""
    affected = Affected()
    batch = Batch()
    for number, item in enumerate(items, 1):
        if isinstance(item, Fault):
            _fault(session, item.name, str(item.error))
        elif item.understood:
            try:
                _apply(session, batch, item, affected)
            except DamagedFileError as error:
                _fault(session, item.name, str(error))
            batch.add(EntryRow, [_entry(item)])
        else:
            _set_aside(session, batch, item)
            batch.add(EntryRow, [_entry(item)])
        if number % _BATCH == 0:
            batch.flush(session)
    batch.flush(session)
    return affected


def _fault(session: Session, name: str, message: str) -> None:
    session.merge(FaultRow(place=SET_ASIDE, name=name, message=message))


def _set_aside(session: Session, batch: Batch, entry: Entry) -> None:
    """A newer entry: told, and if it is essential its subjects are not to be changed here."""
    what = "it is in a format that" if entry.newer else f"its kind, {entry.kind},"
    closed = " What it speaks about cannot be changed here." if entry.essential else ""
    _fault(
        session,
        entry.name,
        f"The journal entry {entry.name} was written by a newer release: {what} is not known here. "
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
        batch.add(StatementRow, [{"subject": s, **row} for s in sorted(subjects)], newer_wins=True)


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id,
        "name": entry.name,
        "counter": entry.counter,
        "kind": entry.kind,
        "time": entry.time,
        "writer": entry.writer,
        "previous": entry.previous,
        "person": entry.person,
    }


def _apply(session: Session, batch: Batch, entry: Entry, affected: Affected) -> None:
    """Take in one entry, or nothing of it: what cannot be read is noticed before anything is written."""
    told = list(statements(entry))
    listed = selections(entry)
    found = list(versions(entry, listed))
    try:
        rolls = [(each, *roll_rows(each)) for each in told if each.layer == "ingest"]
        for statement in told:
            if statement.layer != "ingest":
                check_value(statement)
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError, OSError) as error:
        raise DamagedFileError(
            f"The journal entry {entry.name} is whole, but what it tells cannot be read "
            f"({shown(str(error))[:200]}).",
            hint="It was left as it is and set aside; every other entry still counts.",
        ) from error
    for statement, roll, files in rolls:
        _roll(session, statement, roll, files, affected)
    for statement in told:
        if statement.layer == "delivered":
            _delivered(session, statement)
            outputs = statement.value["outputs"]
            affected.marked.update(origin["frame"] for output in outputs for origin in output["inputs"])
    plain = [s for s in told if s.layer not in ("ingest", "delivered")]
    batch.add(StatementRow, [_statement(s) for s in plain], newer_wins=True)
    for statement in plain:
        if statement.layer == "clock":
            affected.cameras.add(statement.subject)
        elif statement.layer == "site":
            affected.sites.add(statement.subject)
        elif statement.layer in FRAME_LAYERS:
            affected.frames.add(statement.subject)
        elif statement.layer in MARK_LAYERS:
            affected.marked.add(statement.subject)
        if statement.layer == PAIRING and statement.line == "":
            _pair(session, batch, statement, affected)
    for selection in listed.values():
        pairs = zip(selection.frames, selection.milliseconds, strict=True)
        rows = [
            {"selection": selection.id, "position": position, "frame": frame, "milliseconds": moment}
            for position, (frame, moment) in enumerate(pairs)
        ]
        batch.add(SelectionFrameRow, rows)
    _versions(batch, found)
    affected.developed.update(version.frame for version in found)


def _pair(session: Session, batch: Batch, statement: Statement, affected: Affected) -> None:
    """Which frame a file stands for; the frames it stood and stands for are told anew with it."""
    frame = statement.value["frame"] if statement.value else None
    held = session.get(PairRow, statement.subject)
    affected.frames.update(each for each in (frame, held.frame if held else None) if each)
    row = {
        "companion": statement.subject,
        "frame": frame,
        "counts": False,
        "counter": statement.counter,
        "entry": statement.entry,
    }
    batch.add(PairRow, [row], newer_wins=True)


def _versions(batch: Batch, found: Sequence[Version]) -> None:
    keys: dict[int, str] = {}
    for version in found:
        # The frames of a selection share one recipe object, and so one document.
        key = keys.get(id(version.recipe))
        if key is None:
            document = json.dumps(version.recipe.to_json(), ensure_ascii=False, sort_keys=True)
            key = keys[id(version.recipe)] = sha256_id(document.encode())
            batch.add(RecipeRow, [{"key": key, "document": document}])
        place = {"frame": version.frame, "layer": version.layer, "line": version.line}
        row = {
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
        batch.add(VersionRow, [row])
        replaced = [{**place, "older": older, "entry": version.entry} for older in version.builds_on]
        batch.add(BuildsOnRow, replaced)


def _statement(statement: Statement) -> dict[str, Any]:
    return {
        "subject": statement.subject,
        "layer": statement.layer,
        "line": statement.line,
        "counter": statement.counter,
        "entry": statement.entry,
        "value": registers.written(statement.value),
    }


def _roll(
    session: Session, statement: Statement, roll: Values, files: list[Values], affected: Affected
) -> None:
    token = roll["id"]
    held = session.get(RollRow, token)
    if held is not None and (held.counter, held.entry) >= statement.order:
        return
    if held is not None:
        affected.frames.update(session.scalars(select(FileRow.digest).where(FileRow.roll == token)))
        session.execute(delete(FileRow).where(FileRow.roll == token))
        session.delete(held)
        session.flush()
    affected.rolls.add(token)
    insert_rows(session, RollRow, [roll])
    insert_rows(session, FileRow, files)


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
                    "texts": canonical(output["texts"]).decode() if output.get("texts") else None,
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
