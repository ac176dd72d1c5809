"""Each frame as its statements tell it: camera, time, night, sky, settings. One row for every master."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, delete, select
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected, chunks
from archive.catalogue.inserting import insert_rows
from archive.catalogue.registers import clocks_of, site_of
from archive.catalogue.rows import FileRow, FrameRow, RollRow, StatementRow
from archive.catalogue.standing_for import (
    companions_of,
    named_by,
    paired,
    settle_pairs,
    standing_for,
    stood_for,
)
from archive.model.capture import CaptureFacts, Role
from archive.model.place import ClockCorrection, Site
from archive.nights.altitudes import Altitudes
from archive.nights.capture_time import CaptureTime, capture_time

Moments = dict[str, list[datetime]]
"""When frames of a camera stood or stand now, for those that were told anew."""

_MASTERS = (str(Role.RAW), str(Role.PICTURE))


def tell_frames(session: Session, affected: Affected) -> Moments:
    """Write the rows of all frames that the statements touched; answers where in time they were and are."""
    teller = _Teller(session)
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
    """Writes frames, and remembers sites, clocks and skies between them."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._sites: dict[str, Site | None] = {}
        self._skies: dict[str, Altitudes] = {}
        self._clocks: dict[str, list[ClockCorrection]] = {}
        self.moments: Moments = {}

    def tell_with_pairs(self, digests: Any) -> None:
        """Write these frames, and those that are frames or not because of these."""
        settle_pairs(self._session, digests)
        self.tell(digests)
        self.tell(named_by(digests))
        # What is said of a companion, such as a sequence's number, is said of its frame.
        self.tell(stood_for(digests))

    def tell(self, digests: Any) -> None:
        """Write the frames among these digests: a list, or a query that answers them."""
        was = select(FrameRow.camera, FrameRow.taken).where(FrameRow.id.in_(digests))
        for camera, taken in self._session.execute(was):
            self.moments.setdefault(camera, []).append(taken)
        self._session.execute(delete(FrameRow).where(FrameRow.id.in_(digests)))
        rows = [self._row(file, corrected) for file, corrected in self._masters(digests)]
        for row in rows:
            self.moments.setdefault(row["camera"], []).append(row["taken"])
        insert_rows(self._session, FrameRow, rows)

    def _masters(self, digests: Any) -> Iterator[tuple[Any, dict[str, Any] | None]]:
        """The file each frame is known by, and its corrected facts; of equal bytes the first taken in."""
        away = set(self._session.scalars(paired(digests)))
        told = self._corrected(digests)
        query = (
            select(
                FileRow.digest,
                FileRow.path,
                FileRow.role,
                FileRow.modified,
                FileRow.facts,
                RollRow.id.label("roll"),
                RollRow.camera,
                RollRow.site,
            )
            .join(RollRow, RollRow.id == FileRow.roll)
            .where(FileRow.digest.in_(digests), *is_master())
            .order_by(RollRow.counter, RollRow.entry, RollRow.id, FileRow.path)
        )
        seen: set[str] = set()
        for row in self._session.execute(query):
            if row.digest not in seen and row.digest not in away:
                seen.add(row.digest)
                yield row, told.get(row.digest)

    def _corrected(self, digests: Any) -> dict[str, dict[str, Any]]:
        """Corrected facts by frame: the newest stated about it or a companion that stands for it."""
        pairs = companions_of(self._session, digests)
        said = select(StatementRow).where(StatementRow.layer == "facts", StatementRow.subject.in_(digests))
        rows = list(self._session.scalars(said))
        if pairs:
            also = standing_for(digests)
            said = select(StatementRow).where(StatementRow.layer == "facts", StatementRow.subject.in_(also))
            rows += self._session.scalars(said)
        rows.sort(key=lambda row: (row.counter, row.entry))
        return {pairs.get(row.subject, row.subject): json.loads(row.value) for row in rows}

    def _row(self, file: Any, corrected: dict[str, Any] | None) -> dict[str, Any]:
        read: dict[str, Any] = json.loads(file.facts) if file.facts else {}
        facts = CaptureFacts.from_json(read | corrected if corrected else read)
        site = self._site(file.site)
        time = capture_time(facts, datetime.fromisoformat(file.modified), site, self._clocks_of(file.camera))
        sun, moon = self._sky(site, time)
        return {
            "id": file.digest,
            "camera": file.camera,
            "roll": file.roll,
            "path": file.path,
            "name": file.path.rpartition("/")[2],
            "role": file.role,
            "taken": time.moment,
            "time_source": str(time.source),
            "night": time.night.isoformat(),
            "sequence": None,
            "position": None,
            "exposure_s": facts.exposure_s,
            "f_number": facts.f_number,
            "iso": facts.iso,
            "focal_mm": facts.focal_mm,
            "sun": sun,
            "moon": moon,
            "facts": json.dumps(facts.to_json(), ensure_ascii=False) if corrected else file.facts or "{}",
        }

    def _site(self, site: str | None) -> Site | None:
        if site is None:
            return None
        if site not in self._sites:
            self._sites[site] = site_of(self._session, site)
        return self._sites[site]

    def _clocks_of(self, camera: str) -> Sequence[ClockCorrection]:
        if camera not in self._clocks:
            self._clocks[camera] = clocks_of(self._session, camera)
        return self._clocks[camera]

    def _sky(self, site: Site | None, time: CaptureTime) -> tuple[float | None, float | None]:
        if site is None or not time.source.certain:
            return None, None
        if site.id not in self._skies:
            self._skies[site.id] = Altitudes(site)
        sun, moon = self._skies[site.id].at(time.moment)
        return round(sun, 3), round(moon, 3)


def is_master() -> Iterable[ColumnElement[bool]]:
    """The conditions on a file that make it a frame's master as far as its own roll says."""
    return FileRow.role.in_(_MASTERS), FileRow.companion_of.is_(None)
