"""Entries into an empty catalogue, all at once: the same rows as entry by entry, for a fraction of the time.

What follows from other entries is told once all of them are in: frames roll by roll, the sequences of each
camera in one walk, marks and nights in a few statements. Indexes are made when their tables are full.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Index, Integer, cast, select, true, update
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected
from archive.catalogue.apply import write
from archive.catalogue.contests import settle_all_contests
from archive.catalogue.database import PLACE, kept_rows
from archive.catalogue.derive import outdated
from archive.catalogue.entryrows import EntryRows
from archive.catalogue.framevalues import frame_rows
from archive.catalogue.hands import Hands
from archive.catalogue.inserting import insert_stored
from archive.catalogue.marks import tell_marks
from archive.catalogue.nightsums import tell_nights
from archive.catalogue.readahead import Progress
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
from archive.catalogue.telling import MASTER, MASTERS, Places, facts_said

_LATER = (FrameRow, HoldingRow)
"""Tables that are filled after the entries are in, and whose indexes wait for that."""


def fill(
    session: Session, read: Iterable[EntryRows], hands: Hands, progress: Progress | None = None
) -> list[Unnumbered]:
    """Take all entries in and tell all that follows; answers the sequences without a number.

    Indexes that were dropped are made again; see ``drop_indexes``.
    """
    for told in read:
        write(session, told)
    outdated(session)
    session.flush()
    make_indexes(session, [t.name for t in Base.metadata.sorted_tables if t.name not in _names(_LATER)])
    settle_pairs(session, select(PairRow.companion))
    pairs = all_pairs(session)
    _tell_frames(session, pairs, hands, progress)
    _mark(session)
    tell_marks(session, Affected(marked={*pairs, *pairs.values()}))
    make_indexes(session, [FrameRow.__tablename__], only="frame_by_camera")
    unnumbered = tell_all_sequences(session, hands, progress)
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


def _tell_frames(session: Session, pairs: dict[str, str], hands: Hands, progress: Progress | None) -> None:
    """Every master as a frame; of equal bytes the first taken in, which is the first written."""
    places = Places(session)
    said = facts_said(session, select(StatementRow.subject).where(StatementRow.layer == "facts"), pairs)
    query = select(RollRow.id, RollRow.camera, RollRow.site)
    rolls = session.execute(query.order_by(RollRow.counter, RollRow.entry, RollRow.id)).all()

    def jobs() -> Iterator[tuple[Any, ...]]:
        for roll, camera, site in rolls:
            files = kept_rows(session, _FILES, roll)
            held = [file for file in files if file[0] not in pairs]
            told = {file[0]: said[file[0]] for file in held if file[0] in said} if said else {}
            yield places.of(camera, site), roll, camera, held, told

    for number, rows in enumerate(hands.each(frame_rows, jobs())):
        if progress:
            progress("Telling the frames", number, len(rolls))
        insert_stored(session, "frame", rows)


_FILES = MASTERS.with_only_columns(*MASTER).where(FileRow.roll == PLACE)


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
