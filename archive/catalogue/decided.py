"""Which entries decided what: by id, by kind, and the ones whose statements stand now."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import EntryRow, StatementRow
from archive.catalogue.standing_for import companions_of, stand_for
from archive.model.entry import PAIRING
from archive.model.identity import EntryId


@dataclass(frozen=True, kw_only=True)
class Heading:
    """An entry as the catalogue lists it."""

    id: EntryId
    name: str
    counter: int
    kind: str
    time: str
    person: str


def headings(
    catalogue: Catalogue,
    *,
    id_start: str | None = None,
    kinds: Sequence[str] = (),
    before: tuple[int, str] | None = None,
    limit: int | None = None,
) -> list[Heading]:
    """Entries by any of these, newest first; ``before`` is the order (counter, id) that they come before."""
    query = select(EntryRow).order_by(EntryRow.counter.desc(), EntryRow.id.desc())
    if id_start is not None:
        query = query.where(EntryRow.id.startswith(f"sha256:{id_start}", autoescape=True))
    if kinds:
        query = query.where(EntryRow.kind.in_(kinds))
    if before is not None:
        counter, entry = before
        older = (EntryRow.counter < counter) | ((EntryRow.counter == counter) & (EntryRow.id < entry))
        query = query.where(older)
    if limit is not None:
        query = query.limit(limit)
    with transaction(catalogue.engine) as session:
        return [
            Heading(
                id=EntryId(row.id),
                name=row.name,
                counter=row.counter,
                kind=row.kind,
                time=row.time,
                person=row.person,
            )
            for row in session.scalars(query)
        ]


@dataclass(frozen=True, kw_only=True)
class Stated:
    """A value that stands now, and the entry that stated it."""

    entry: EntryId
    value: Any


def stating(catalogue: Catalogue, subjects: Sequence[str], layer: str) -> dict[tuple[str, str], Stated]:
    """What stands now and since which entry, by (subject, line).

    What was stated about a companion that stands for one of these frames counts as stated about it, but for
    pairings, which are about the companion itself.
    """
    found: dict[tuple[str, str], Stated] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(subjects, 400):
            pairs = {} if layer == PAIRING else companions_of(session, chunk)
            query = (
                select(StatementRow.subject, StatementRow.line, StatementRow.entry, StatementRow.value)
                .where(StatementRow.layer == layer, StatementRow.subject.in_([*chunk, *pairs]))
                .order_by(StatementRow.counter, StatementRow.entry)
            )
            for row in session.execute(query):
                place = (pairs.get(row.subject, row.subject), row.line)
                found[place] = Stated(entry=EntryId(row.entry), value=json.loads(row.value))
    return found


def one_matter(catalogue: Catalogue, digests: Sequence[str]) -> dict[str, str]:
    """Companions with the frames that they stand for: those among these digests, and all of their frames."""
    found: dict[str, str] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(digests, 400):
            stands = stand_for(session, chunk)
            found |= stands | companions_of(session, list({*chunk, *stands.values()}))
    return found
