"""Which digest stands for which frame, asked inside a session.

A pairing counts while its frame is held as a master and is itself paired with no other; until then the
companion is a frame of its own. What was stated about either is one matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select, and_, select, update
from sqlalchemy.orm import Session, aliased

from archive.catalogue.rows import FileRow, PairRow
from archive.model.capture import Role

_MASTERS = (str(Role.RAW), str(Role.PICTURE))


def settle_pairs(session: Session, digests: Any) -> None:
    """Tell anew which pairings of these digests count, as companions or as frames: a list, or a query."""
    further = aliased(PairRow)
    held = (
        select(FileRow.digest)
        .where(FileRow.digest == PairRow.frame, FileRow.role.in_(_MASTERS), FileRow.companion_of.is_(None))
        .exists()
    )
    paired_on = select(further.companion).where(
        further.companion == PairRow.frame, further.frame.is_not(None)
    )
    counts = and_(PairRow.frame.is_not(None), held, ~paired_on.exists())
    # One after the other: either is answered by an index, both at once by going through every pair.
    for touched in (PairRow.companion.in_(digests), PairRow.frame.in_(digests)):
        session.execute(
            update(PairRow).where(touched).values(counts=counts).execution_options(synchronize_session=False)
        )


def named_by(digests: Any) -> Select[Any]:
    """A query for the companions whose pairing names one of these digests, whether it counts or not."""
    return select(PairRow.companion).where(PairRow.frame.in_(digests))


def stood_for(digests: Any) -> Select[Any]:
    """A query for the frames that these digests stand for."""
    return select(PairRow.frame).where(PairRow.companion.in_(digests), PairRow.counts)


def paired(digests: Any) -> Select[Any]:
    """A query for those among these digests that are no frames, because they stand for another."""
    return select(PairRow.companion).where(PairRow.companion.in_(digests), PairRow.counts)


def standing_for(frames: Any) -> Select[Any]:
    """A query for the companions that stand for these frames."""
    return select(PairRow.companion).where(PairRow.frame.in_(frames), PairRow.counts)


def companions_of(session: Session, frames: Any) -> dict[str, str]:
    """The companions that stand for these frames, each with its frame."""
    query = select(PairRow.companion, PairRow.frame).where(PairRow.frame.in_(frames), PairRow.counts)
    return {row.companion: row.frame or "" for row in session.execute(query)}


def stand_for(session: Session, digests: Sequence[str]) -> dict[str, str]:
    """The frame that each of these digests stands for, where it is a companion's."""
    query = select(PairRow.companion, PairRow.frame)
    query = query.where(PairRow.companion.in_(digests), PairRow.counts)
    return {row.companion: row.frame or "" for row in session.execute(query)}


def all_pairs(session: Session) -> dict[str, str]:
    """Every companion that stands for a frame, with its frame."""
    query = select(PairRow.companion, PairRow.frame).where(PairRow.counts)
    return {row.companion: row.frame or "" for row in session.execute(query)}
