"""Each frame as its statements tell it: camera, time, night, sky, settings. One row for every master."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected, chunks
from archive.catalogue.framevalues import Master, Place, frame_rows, marked
from archive.catalogue.inserting import Stored, insert_rows, insert_stored
from archive.catalogue.marks import marks_of, said_last
from archive.catalogue.registers import clock_texts
from archive.catalogue.rows import (
    FileRow,
    FrameKeywordRow,
    FrameRow,
    PairRow,
    RollRow,
    StatementRow,
    instant,
)
from archive.catalogue.standing_for import (
    companions_of,
    named_by,
    paired,
    settle_pairs,
    stood_for,
)
from archive.model.capture import Role

Moments = dict[str, list[datetime]]
"""When frames of a camera stood or stand now, for those that were told anew."""

MASTER = (FileRow.digest, FileRow.path, FileRow.role, FileRow.modified, FileRow.facts)
"""Columns of a file that its frame is told by."""
MASTERS = (
    select(*MASTER, RollRow.id.label("roll"), RollRow.camera, RollRow.site)
    .join(RollRow, RollRow.id == FileRow.roll)
    .where(FileRow.role.in_((str(Role.RAW), str(Role.PICTURE))), FileRow.companion_of.is_(None))
    .order_by(RollRow.counter, RollRow.entry, RollRow.id, FileRow.path)
)
"""A query, to be narrowed down, for files that are masters as far as their own rolls say.

They come in the order in which they were taken in: of equal bytes the first is the frame's.
"""


def tell_frames(session: Session, affected: Affected) -> Moments:
    """Write the rows of all frames that the statements touched; answers where in time they were and are."""
    teller = _Teller(session, affected)
    for roll in _rolls(session, affected):
        teller.tell_with_pairs(select(FileRow.digest).where(FileRow.roll == roll))
    for digests in chunks(sorted(affected.frames)):
        teller.tell_with_pairs(digests)
    return teller.moments


def _rolls(session: Session, affected: Affected) -> list[str]:
    found = set(affected.rolls)
    for column, values in ((RollRow.camera, affected.cameras), (RollRow.site, affected.sites)):
        for some in chunks(sorted(values)):
            found.update(session.scalars(select(RollRow.id).where(column.in_(some))))
    return sorted(found)


class _Teller:
    """Writes frames, and remembers where in time they were and are."""

    def __init__(self, session: Session, affected: Affected) -> None:
        self._session = session
        self._affected = affected
        self._places = Places(session)
        self._any_pairs = session.scalar(select(PairRow.companion).limit(1)) is not None
        self.moments: Moments = {}

    def tell_with_pairs(self, digests: Any) -> None:
        """Write these frames, and those that are frames or not because of these."""
        if not self._any_pairs:
            self.tell(digests)
            return
        settle_pairs(self._session, digests)
        self.tell(digests)
        self.tell(named_by(digests))
        # What is said of a companion, such as a sequence's number, is said of its frame.
        self.tell(stood_for(digests))

    def tell(self, digests: Any) -> None:
        """Write the frames among these digests: a list, or a query that answers them."""
        was = select(FrameRow.camera, FrameRow.taken, FrameRow.night).where(FrameRow.id.in_(digests))
        for camera, taken, night in self._session.execute(was):
            self.moments.setdefault(camera, []).append(taken)
            self._affected.nights.add((night, camera))
        for held in (FrameRow.id, FrameKeywordRow.frame):
            self._session.execute(delete(held.class_).where(held.in_(digests)))
        pairs = companions_of(self._session, digests)
        rows = list(self._rows(digests, pairs))
        if not rows:
            return
        marks = marks_of(self._session, digests, pairs)
        for _, camera, *_, taken, _, night in (row[:9] for row in rows):
            self.moments.setdefault(camera, []).append(instant(taken))
            self._affected.nights.add((night, camera))
        told = [marked(row, marks.columns(row[0]).values()) for row in rows]
        insert_stored(self._session, "frame", told)
        insert_rows(self._session, FrameKeywordRow, marks.word_rows([row[0] for row in rows]))

    def _rows(self, digests: Any, pairs: dict[str, str]) -> Iterator[Stored]:
        """Each frame by the file it is known by; of equal bytes the first taken in."""
        away = set(self._session.scalars(paired(digests)))
        said = facts_said(self._session, digests, pairs)
        files = self._session.execute(MASTERS.where(FileRow.digest.in_(digests)))
        for (roll, camera, site), some in groupby(files, itemgetter(5, 6, 7)):
            held: dict[str, Master] = {}
            for file in some:
                if file.digest not in away:
                    held.setdefault(file.digest, file[:5])
            away.update(held)
            yield from frame_rows(self._places.of(camera, site), roll, camera, held.values(), said)


class Places:
    """Sites and clocks that frames are told by, looked up once."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._sites: dict[str, str | None] = {}
        self._clocks: dict[str, tuple[str, ...]] = {}

    def of(self, camera: str, site: str | None) -> Place:
        if site is not None and site not in self._sites:
            stated = (StatementRow.subject == site, StatementRow.layer == "site", StatementRow.line == "")
            self._sites[site] = self._session.scalar(select(StatementRow.value).where(*stated))
        if camera not in self._clocks:
            self._clocks[camera] = tuple(clock_texts(self._session, camera))
        value = None if site is None else self._sites[site]
        return None if site is None or value is None else (site, value), self._clocks[camera]


def facts_said(session: Session, digests: Any, pairs: dict[str, str]) -> dict[str, dict[str, Any]]:
    """The corrected facts of frames: a list, or a query that answers them."""
    return {
        frame: told
        for (frame, line), told in said_last(session, "facts", digests, pairs).items()
        if line == ""
    }
