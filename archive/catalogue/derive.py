"""What follows from the statements: each frame's time, night and sky, and the sequences of each camera."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected
from archive.catalogue.marks import tell_marks
from archive.catalogue.nightsums import tell_nights
from archive.catalogue.rows import MarkRow, RollRow
from archive.catalogue.runs import Unnumbered, tell_sequences
from archive.catalogue.telling import tell_frames

DERIVATION = 6
"""Raised whenever the same statements lead to other rows; catalogues derived before are told anew."""

_MARK = "derivation"


def derive(session: Session, affected: Affected) -> list[Unnumbered]:
    """Write anew what follows from the statements that were touched; answers sequences without a number."""
    if not affected:
        return []
    unnumbered = tell_sequences(session, tell_frames(session, affected), affected)
    tell_marks(session, affected)
    tell_nights(session, affected.nights)
    return unnumbered


def up_to_date(session: Session) -> bool:
    """Whether the catalogue was derived by today's rules."""
    mark = session.get(MarkRow, _MARK)
    return mark is not None and mark.value == str(DERIVATION)


def outdated(session: Session) -> set[str]:
    """Every camera, where the catalogue was derived by other rules than today's; none otherwise."""
    if up_to_date(session):
        return set()
    session.merge(MarkRow(name=_MARK, value=str(DERIVATION)))
    return set(session.scalars(select(RollRow.camera).distinct()))
