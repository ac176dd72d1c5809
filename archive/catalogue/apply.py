"""Entries into rows. Applying is idempotent, and free of order: any interleaving gives the same tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected, chunks
from archive.catalogue.entryrows import EntryRows
from archive.catalogue.inserting import Stored, insert_stored
from archive.catalogue.rows import (
    DerivativeRow,
    FaultRow,
    FileRow,
    OriginRow,
    PairRow,
    RollRow,
    StatementRow,
)
from archive.journal.log import Fault
from archive.model.entry import SEQUENCE_NUMBER, Entry

SET_ASIDE = "journal"
"""Where the faults of entries that do not count are put down."""
_BATCH = 20_000
"""Rows that are gathered before they are written."""


def apply_entries(session: Session, read: Iterable[EntryRows]) -> Affected:
    """Take entries and faults in, in any order; answers what has to be derived again."""
    affected = Affected()
    for told in read:
        told.affected.frames |= _paired_before(session, [row[0] for row in told.held.get(("pair", True), ())])
        write(session, told)
        told.affected.frames |= _rivals(session, told)
        for name, found in vars(told.affected).items():
            getattr(affected, name).update(found)
    return affected


def gathered(items: Iterable[Entry | Fault]) -> Iterator[EntryRows]:
    """The rows of entries, some thousands at a time."""
    told = EntryRows()
    for item in items:
        told.add(item)
        if told.size >= _BATCH:
            yield told
            told = EntryRows()
    yield told


def write(session: Session, told: EntryRows) -> None:
    """Write rows, read here or elsewhere; rolls that came and frames of those that gave way are affected."""
    _rolls(session, told)
    for name, message in told.faults:
        session.merge(FaultRow(place=SET_ASIDE, name=name, message=message))
    for derivative, origins in told.derivatives:
        _derivative(session, derivative, origins)
    for (table, newer_wins), rows in told.held.items():
        insert_stored(session, table, rows, newer_wins=newer_wins)


def _paired_before(session: Session, companions: Sequence[str]) -> set[str]:
    """The frames that these stood for until now: they are told anew with them."""
    found: set[str] = set()
    for some in chunks(companions):
        rows = session.scalars(select(PairRow.frame).where(PairRow.companion.in_(some)))
        found.update(frame for frame in rows if frame is not None)
    return found


def _rivals(session: Session, told: EntryRows) -> set[str]:
    """The frames that numbers of sequences were given to which come now: the first stated has each."""
    found: set[str] = set()
    rows = told.held.get(("statement", True), ())
    for some in chunks(sorted({value for _, layer, *_, value in rows if layer == SEQUENCE_NUMBER})):
        given = (StatementRow.layer == SEQUENCE_NUMBER, StatementRow.value.in_(some))
        found.update(session.scalars(select(StatementRow.subject).where(*given)))
    return found


def _rolls(session: Session, told: EntryRows) -> None:
    """Rolls with their files; of several ingests of one roll the last counts, whichever is read first."""
    coming: dict[str, tuple[Stored, list[Stored]]] = {}
    for each in sorted(told.rolls, key=lambda each: each[0][-2:]):
        coming[each[0][0]] = each
    for some in chunks(list(coming)):
        for token, *order in session.execute(_HELD.where(RollRow.id.in_(some))):
            if tuple(order) >= coming[token][0][-2:]:
                del coming[token]
                continue
            files = FileRow.roll == token
            told.affected.frames.update(session.scalars(select(FileRow.digest).where(files)))
            session.execute(delete(FileRow).where(files))
            session.execute(delete(RollRow).where(RollRow.id == token))
    told.affected.rolls.update(coming)
    insert_stored(session, "roll", [roll for roll, _ in coming.values()])
    insert_stored(session, "file", [file for _, files in coming.values() for file in files])


_HELD = select(RollRow.id, RollRow.counter, RollRow.entry)


def _derivative(session: Session, derivative: Stored, origins: list[Stored]) -> None:
    job, path, (counter, entry) = derivative[0], derivative[1], derivative[-2:]
    held = session.get(DerivativeRow, (job, path))
    if held is not None:
        if (held.counter, held.entry) >= (counter, entry):
            return
        session.execute(delete(OriginRow).where(OriginRow.job == job, OriginRow.path == path))
        session.delete(held)
        session.flush()
    insert_stored(session, "derivative", [derivative])
    insert_stored(session, "origin", origins)
