"""Entries into an empty catalogue, all at once: the same rows as entry by entry, for a fraction of the time.

What follows from other entries is told once all of them are in: frames roll by roll, the sequences of each
camera in one walk, marks and nights in a few statements. Indexes are made when their tables are full.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from sqlalchemy import Index, Integer, cast, select, true, update
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected
from archive.catalogue.apply import apply_entries
from archive.catalogue.contests import settle_all_contests
from archive.catalogue.derive import outdated
from archive.catalogue.framevalues import FrameValues
from archive.catalogue.inserting import insert_rows
from archive.catalogue.marks import said_last, tell_marks
from archive.catalogue.nightsums import tell_nights
from archive.catalogue.rows import (
    Base,
    FileRow,
    FrameKeywordRow,
    FrameRow,
    HoldingRow,
    OriginRow,
    PairRow,
    RollRow,
    StatementRow,
    VersionRow,
)
from archive.catalogue.runs import Unnumbered, tell_all_sequences
from archive.catalogue.standing_for import all_pairs, settle_pairs
from archive.catalogue.telling import MASTERS
from archive.journal.log import Fault
from archive.model.entry import Entry

_AT_ONCE = 200
"""Entries whose rows are gathered before they are written."""
_LATER = (FrameRow, HoldingRow)
"""Tables that are filled after the entries are in, and whose indexes wait for that."""


def fill(session: Session, items: Iterable[Entry | Fault]) -> list[Unnumbered]:
    """Take all entries in and tell all that follows; answers the sequences without a number.

    Indexes that were dropped are made again; see ``drop_indexes``.
    """
    rest = iter(items)
    while some := list(islice(rest, _AT_ONCE)):
        apply_entries(session, some)
    outdated(session)
    session.flush()
    make_indexes(session, [t.name for t in Base.metadata.sorted_tables if t.name not in _names(_LATER)])
    settle_pairs(session, select(PairRow.companion))
    pairs = all_pairs(session)
    _tell_frames(session, pairs)
    _mark(session)
    tell_marks(session, Affected(marked={*pairs, *pairs.values()}))
    make_indexes(session, [FrameRow.__tablename__], only="frame_by_camera")
    unnumbered = tell_all_sequences(session)
    make_indexes(session, [FrameRow.__tablename__])
    tell_nights(session, None)
    settle_all_contests(session)
    return unnumbered


def _names(rows: Iterable[Any]) -> set[str]:
    return {row.__tablename__ for row in rows}


def drop_indexes(session: Session) -> None:
    """Take off every index but those of primary keys: rows come in faster without."""
    for index in _indexes(Base.metadata.tables):
        index.drop(session.connection(), checkfirst=True)


def make_indexes(session: Session, tables: Iterable[str], only: str | None = None) -> None:
    """Make the indexes of these tables that are not there."""
    for index in _indexes(tables):
        if only is None or index.name == only:
            index.create(session.connection(), checkfirst=True)


def _indexes(tables: Iterable[str]) -> Iterator[Index]:
    for name in tables:
        yield from sorted(Base.metadata.tables[name].indexes, key=lambda index: str(index.name))


def _tell_frames(session: Session, pairs: dict[str, str]) -> None:
    """Every master as a frame; of equal bytes the first taken in, which is the first written."""
    values = FrameValues(session)
    subjects = select(StatementRow.subject).where(StatementRow.layer == "facts")
    corrected = {frame: told for (frame, line), told in said_last(session, "facts", subjects, pairs).items()}
    rolls = select(RollRow.id).order_by(RollRow.counter, RollRow.entry, RollRow.id)
    for roll in session.scalars(rolls).all():
        rows = [
            values.row(file, corrected.get(file.digest))
            for file in session.execute(MASTERS.where(FileRow.roll == roll))
            if file.digest not in pairs
        ]
        insert_rows(session, FrameRow, rows)


def _mark(session: Session) -> None:
    """Marks of all frames that no companion stands for."""
    word = (
        select(FrameRow.id, StatementRow.line)
        .join(FrameRow, FrameRow.id == StatementRow.subject)
        .where(StatementRow.layer == "keyword", StatementRow.value == "true")
    )
    table = FrameKeywordRow.__table__
    session.execute(table.insert().from_select(["frame", "word"], word))  # type: ignore[attr-defined]
    rated = (StatementRow.layer == "rating", StatementRow.line == "")
    rating = select(cast(StatementRow.value, Integer)).where(StatementRow.subject == FrameRow.id, *rated)
    changes: list[tuple[Any, dict[str, Any]]] = [
        (select(StatementRow.subject).where(*rated), {"rating": rating.scalar_subquery()}),
        (select(VersionRow.frame), {"developed": true()}),
        (select(OriginRow.frame), {"exported": true()}),
    ]
    for frames, said in changes:
        statement = update(FrameRow).where(FrameRow.id.in_(frames)).values(said)
        session.execute(statement.execution_options(synchronize_session=False))
