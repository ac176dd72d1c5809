"""Which entries decided what: by id, by kind, and the ones whose statements stand now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select

from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import EntryRow, StatementRow
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


def stating(catalogue: Catalogue, subjects: Sequence[str], layer: str) -> dict[tuple[str, str], EntryId]:
    """The entry whose statement stands now, by (subject, line)."""
    found: dict[tuple[str, str], EntryId] = {}
    with transaction(catalogue.engine) as session:
        for start in range(0, len(subjects), 400):
            query = select(StatementRow.subject, StatementRow.line, StatementRow.entry).where(
                StatementRow.layer == layer, StatementRow.subject.in_(subjects[start : start + 400])
            )
            found |= {(row.subject, row.line): EntryId(row.entry) for row in session.execute(query)}
    return found
