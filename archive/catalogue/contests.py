"""Which frames have a recipe that more than one version claims to be, kept up to date as entries come.

Told anew are the frames that entries gave versions, and those that a pairing made one with another.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import and_, delete, except_, func, select
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected, chunks
from archive.catalogue.inserting import insert_rows
from archive.catalogue.rows import BuildsOnRow, ContestRow, FileRow, PairRow, VersionRow
from archive.catalogue.standing_for import companions_of, stand_for

_MANY = 20_000
"""From so many frames on, going through all versions once is faster than asking for some at a time."""


def settle_contests(session: Session, affected: Affected) -> None:
    """Put down which of the frames that were touched are contested, on whatever line, and which no more."""
    touched = affected.developed.union(*_pairs_touched(session, affected))
    if len(touched) > _MANY:
        touched = {*session.scalars(select(ContestRow.frame)), *session.scalars(_several())}
    _settle(session, touched)


def settle_all_contests(session: Session) -> None:
    """Put down which frames are contested, where nothing is put down yet."""
    _settle(session, set(session.scalars(_several())))


def _settle(session: Session, touched: set[str]) -> None:
    for chunk in chunks(sorted(touched), 400):
        frames = {*chunk, *stand_for(session, chunk).values()}
        digests = sorted({*frames, *companions_of(session, frames)})
        session.execute(delete(ContestRow).where(ContestRow.frame.in_(digests)))
        rows = session.execute(_contested(digests))
        insert_rows(session, ContestRow, [dict(row._mapping) for row in rows])


def _pairs_touched(session: Session, affected: Affected) -> Iterator[set[str]]:
    """Both sides of pairings that may count now or no more."""
    pair = select(PairRow.companion, PairRow.frame)
    wanted: list[Any] = list(chunks(sorted(affected.frames), 400))
    wanted += [select(FileRow.digest).where(FileRow.roll == roll) for roll in sorted(affected.rolls)]
    for digests in wanted:
        for column in (PairRow.companion, PairRow.frame):
            rows = session.execute(pair.where(column.in_(digests)))
            yield {each for row in rows for each in row if each is not None}
        # Of a pairing that was taken back the frame is known by its contest alone.
        yield set(session.scalars(select(ContestRow.frame).where(ContestRow.frame.in_(digests))))


def _several() -> Any:
    """Frames with two versions that no other of the frame's builds on, and companions that have any."""
    replaced = select(BuildsOnRow.entry).where(
        BuildsOnRow.frame == VersionRow.frame,
        BuildsOnRow.layer == VersionRow.layer,
        BuildsOnRow.line == VersionRow.line,
        BuildsOnRow.older == VersionRow.entry,
    )
    several = (
        select(VersionRow.frame)
        .where(~replaced.exists())
        .group_by(VersionRow.frame, VersionRow.layer, VersionRow.line)
        .having(func.count() > 1)
    )
    developed = select(VersionRow.frame).where(VersionRow.frame == PairRow.companion)
    return several.union_all(select(PairRow.companion).where(PairRow.counts, developed.exists()))


def _contested(digests: list[str]) -> Any:
    """Frame, layer and line of which two versions are current; a companion's versions are its frame's."""
    said = _of_frames(VersionRow, VersionRow.entry, digests)
    replaced = _of_frames(BuildsOnRow, BuildsOnRow.older, digests)
    heads = except_(said, replaced).subquery()
    place = (heads.c.frame, heads.c.layer, heads.c.line)
    return select(*place).group_by(*place).having(func.count() > 1)


def _of_frames(row: Any, entry: Any, digests: list[str]) -> Any:
    standing = and_(PairRow.companion == row.frame, PairRow.counts)
    frame = func.coalesce(PairRow.frame, row.frame).label("frame")
    query = select(frame, row.layer, row.line, entry).outerjoin(PairRow, standing)
    return query.where(row.frame.in_(digests))
