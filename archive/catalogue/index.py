"""Record and find: model objects in, model objects out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from sqlalchemy import Engine, and_, delete, func, or_, select
from sqlalchemy.orm import Session

from archive.catalogue import registers
from archive.catalogue.affected import chunks
from archive.catalogue.apply import apply_entries, gathered
from archive.catalogue.bulk import fill
from archive.catalogue.contests import settle_contests
from archive.catalogue.database import transaction
from archive.catalogue.derive import derive, outdated, up_to_date
from archive.catalogue.entryrows import EntryRows
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.hands import Hands
from archive.catalogue.inserting import insert_rows, insert_stored
from archive.catalogue.readahead import Held, Progress
from archive.catalogue.rows import (
    Base,
    ChainRow,
    EntryRow,
    FaultRow,
    FileRow,
    FrameRow,
    HoldingRow,
    JournalFolderRow,
    NightCameraRow,
    PairRow,
    RollRow,
    SequenceRow,
    StatementRow,
)
from archive.catalogue.runs import Unnumbered, sequence_claimed
from archive.catalogue.standing_for import companions_of, standing_for
from archive.journal.chains import Link
from archive.journal.log import Fault
from archive.model.capture import Camera, Frame
from archive.model.entry import Entry
from archive.model.listing import Copy, JournalFault, NightLine, SequenceLine
from archive.model.place import ClockCorrection, Site

_TITLES = (
    select(FrameRow.sequence, StatementRow.value)
    .select_from(StatementRow)
    .outerjoin(PairRow, and_(PairRow.companion == StatementRow.subject, PairRow.counts))
    .join(FrameRow, FrameRow.id == func.coalesce(PairRow.frame, StatementRow.subject))
    .where(StatementRow.layer == "sequence-title", FrameRow.sequence.is_not(None))
    .order_by(StatementRow.counter, StatementRow.entry)
)
"""Titles by sequence; of several in one run, the last stated comes last."""


class Catalogue:
    """The index of one archive; a ``blank`` one is filled all at once by what is applied first."""

    def __init__(self, engine: Engine, *, blank: bool = False) -> None:
        self.engine = engine
        self._blank = blank

    def close(self) -> None:
        self.engine.dispose()

    # -- recording -----------------------------------------------------------------------------

    def known_entries(self) -> set[str]:
        with transaction(self.engine) as session:
            return set(session.scalars(select(EntryRow.name)))

    def apply(
        self,
        items: Iterable[Entry | Fault],
        number: Callable[[Sequence[Unnumbered]], list[Entry]] = lambda _found: [],
    ) -> list[Unnumbered]:
        """Take entries in, in any order; answers the sequences that are left without a number.

        ``number`` is asked for entries that number the sequences that came up. They are applied in the same
        transaction: a program that is killed between the two finds everything still to be done.
        """
        return self.take(gathered(items), number)

    def take(
        self,
        read: Iterable[EntryRows],
        number: Callable[[Sequence[Unnumbered]], list[Entry]],
        hands: Hands | None = None,
        progress: Progress | None = None,
    ) -> list[Unnumbered]:
        """The same for entries that were read as rows."""
        with transaction(self.engine) as session:
            if self._blank:
                unnumbered = fill(session, read, hands or Hands(), progress)
                self._blank = False
            else:
                unnumbered = _take(session, read)
            numbers = number(unnumbered) if unnumbered else []
            return _take(session, gathered(numbers)) if numbers else unnumbered

    def behind(self) -> bool:
        """Whether everything is to be told anew: nothing was told yet, or by other rules than today's."""
        if self._blank:
            return False
        with transaction(self.engine) as session:
            return not up_to_date(session)

    def clear_faults(self, place: str) -> None:
        with transaction(self.engine) as session:
            session.execute(delete(FaultRow).where(FaultRow.place == place))

    def record_fault(self, place: str, name: str, message: str) -> None:
        with transaction(self.engine) as session:
            session.merge(FaultRow(place=place, name=name[:400], message=message))

    def note(self, place: str, told: Iterable[tuple[str, str]]) -> None:
        """Put down names and what is to be said of them; what was noted of this place before gives way."""
        with transaction(self.engine) as session:
            session.execute(delete(FaultRow).where(FaultRow.place == place))
            held = {name[:400]: message for name, message in told}
            rows = [{"place": place, "name": name, "message": text} for name, text in held.items()]
            insert_rows(session, FaultRow, rows)

    def links(self) -> list[Link]:
        """What every entry says of its place in its writer's chain."""
        row = EntryRow
        query = select(row.id, row.name, row.writer, row.previous, row.time)
        with transaction(self.engine) as session:
            return [
                Link(id=entry, name=name, writer=writer, previous=previous, time=time)
                for entry, name, writer, previous, time in session.execute(query)
            ]

    def clear(self, *, volumes: Iterable[str]) -> None:
        """Forget everything but what other volumes than these held when they were last seen."""
        mounted = list(volumes)
        with transaction(self.engine) as session:
            for table in Base.metadata.sorted_tables:
                query = delete(table)
                if table.name in (HoldingRow.__tablename__, ChainRow.__tablename__):
                    query = query.where(table.c.volume.in_(mounted))
                session.execute(query)

    def counts(self, *tables: str) -> dict[str, int]:
        """Rows in each of these tables, or in every one."""
        with transaction(self.engine) as session:
            return {
                table.name: session.scalar(select(func.count()).select_from(table)) or 0
                for table in Base.metadata.sorted_tables
                if not tables or table.name in tables
            }

    def chains(self, volume: str) -> dict[str, str]:
        """The chain state of each roll folder when it was last read."""
        with transaction(self.engine) as session:
            rows = session.execute(select(ChainRow.folder, ChainRow.state).where(ChainRow.volume == volume))
            return {row.folder: row.state for row in rows}

    def hold(self, volume: str, lists: Iterable[Held]) -> None:
        """What a volume's hash lists say of some rolls; those that have none are forgotten."""
        held = list(lists)
        if not held:
            return
        with transaction(self.engine) as session:
            for some in chunks([folder for folder, *_ in held]):
                for row in (HoldingRow, ChainRow):
                    session.execute(delete(row).where(row.volume == volume, row.folder.in_(some)))
            chains = [(volume, folder, state) for folder, state, _ in held if state is not None]
            insert_stored(session, "chain", chains)
            files = [(volume, folder, *file) for folder, _, listed in held for file in listed]
            insert_stored(session, "holding", files)

    # -- finding -------------------------------------------------------------------------------

    def sites(self) -> list[Site]:
        with transaction(self.engine) as session:
            return registers.sites(session)

    def cameras(self) -> dict[str, Camera]:
        with transaction(self.engine) as session:
            return registers.cameras(session)

    def clocks(self, camera: str) -> list[ClockCorrection]:
        with transaction(self.engine) as session:
            return registers.clocks_of(session, camera)

    def stated(self, subject: str, layer: str, line: str = "") -> Any:
        with transaction(self.engine) as session:
            return registers.stated(session, subject, layer, line)

    def layer(self, layer: str) -> dict[tuple[str, str], Any]:
        with transaction(self.engine) as session:
            return registers.all_stated(session, layer)

    def stated_about(self, subjects: Sequence[str], layer: str) -> dict[tuple[str, str], Any]:
        """Values of a layer for some subjects, by (subject, line).

        What was stated about a companion that stands for one of these frames counts as stated about it.
        """
        found: dict[tuple[str, str], StatementRow] = {}
        with transaction(self.engine) as session:
            for chunk in chunks(subjects):
                pairs = companions_of(session, chunk)
                asked = [*chunk, *pairs]
                query = select(StatementRow).where(
                    StatementRow.layer == layer, StatementRow.subject.in_(asked)
                )
                for row in session.scalars(query.order_by(StatementRow.counter, StatementRow.entry)):
                    found[pairs.get(row.subject, row.subject), row.line] = row
        return {place: json.loads(row.value) for place, row in found.items()}

    def nights(self) -> list[NightLine]:
        held = NightCameraRow
        query = select(
            held.night, held.camera, held.site, held.frames, held.first, held.last, held.sequences
        ).order_by(held.night, held.camera)
        with transaction(self.engine) as session:
            names = {key: camera.name for key, camera in registers.cameras(session).items()}
            places = {site.id: site for site in registers.sites(session)}
            rows: list[Any] = list(session.execute(query))
        grouped: dict[str, list[Any]] = {}
        for row in rows:
            grouped.setdefault(row[0], []).append(row)
        return [
            NightLine(
                night=night,
                site=next((places[row[2]].name for row in parts if row[2] in places), None),
                zone=next((places[row[2]].zone for row in parts if row[2] in places), None),
                site_id=next((row[2] for row in parts if row[2] in places), None),
                cameras=tuple(sorted(names.get(row[1], row[1]) for row in parts)),
                frames=sum(row[3] for row in parts),
                sequences=sum(row[6] for row in parts),
                first=min(row[4] for row in parts),
                last=max(row[5] for row in parts),
            )
            for night, parts in grouped.items()
        ]

    def sequences(self, night: str | None = None, camera: str | None = None) -> list[SequenceLine]:
        query = select(*SequenceRow.__table__.columns)
        query = query.order_by(SequenceRow.night, SequenceRow.camera, SequenceRow.number)
        if night:
            query = query.where(SequenceRow.night == night)
        if camera:
            query = query.where(SequenceRow.camera == camera)
        with transaction(self.engine) as session:
            names = {key: body.name for key, body in registers.cameras(session).items()}
            zones = {each.id: each.zone for each in registers.sites(session)}
            rows = list(session.execute(query))
            titles = {key: json.loads(value) for key, value in session.execute(_TITLES)}
        return [
            SequenceLine(
                address=f"{row.night}/{names.get(row.camera, row.camera)}/{row.number}",
                key=row.key,
                night=row.night,
                camera=names.get(row.camera, row.camera),
                number=row.number,
                first=row.first,
                last=row.last,
                frames=row.frames,
                missed=row.missed,
                cadence_s=row.cadence_s,
                zone=zones.get(row.site or ""),
                title=titles.get(row.key, ""),
            )
            for row in rows
        ]

    def sequence_claimed(self, camera: str, night: str, number: int) -> str | None:
        """The key of the sequence that a number was given to, whatever number it goes by now."""
        with transaction(self.engine) as session:
            return sequence_claimed(session, camera, night, number)

    def frames(
        self,
        *,
        night: str | None = None,
        camera: str | None = None,
        sequence: str | None = None,
        name: str | None = None,
        id_start: str | None = None,
        between: tuple[int, int] | None = None,
        limit: int | None = None,
    ) -> list[Frame]:
        """Frames by any of these, in the order they were taken; ``between`` are positions in a sequence."""
        query = FRAMES
        if night:
            query = query.where(FrameRow.night == night)
        if camera:
            query = query.where(FrameRow.camera == camera)
        if sequence:
            query = query.where(FrameRow.sequence == sequence)
        if between:
            query = query.where(FrameRow.position.between(*between))
        if name:
            # Just behind the full stop comes the slash, which no name holds: ranges are answered by an index.
            ending = and_(FrameRow.name >= f"{name}.", FrameRow.name < f"{name}/")
            query = query.where(or_(FrameRow.name == name, ending))
        if id_start:
            # The same for ids: behind the last hexadecimal digit comes a g.
            query = query.where(FrameRow.id >= id_start, FrameRow.id < f"{id_start}g")
        if sequence:
            query = query.order_by(FrameRow.position)
        else:
            query = query.order_by(FrameRow.taken, FrameRow.camera, FrameRow.path)
        if limit:
            query = query.limit(limit)
        with transaction(self.engine) as session:
            return [frame_of_row(row) for row in session.execute(query)]

    def frames_by_id(self, ids: Sequence[str]) -> dict[str, Frame]:
        found: dict[str, Frame] = {}
        with transaction(self.engine) as session:
            for chunk in chunks(ids):
                rows = session.execute(FRAMES.where(FrameRow.id.in_(chunk)))
                found |= {row.id: frame_of_row(row) for row in rows}
        return found

    def files_by_digest(self, digest: str) -> list[tuple[str, str, str | None]]:
        """(roll, path, companion of) of every file with these bytes."""
        with transaction(self.engine) as session:
            rows = session.scalars(select(FileRow).where(FileRow.digest == digest).order_by(FileRow.path))
            return [(row.roll, row.path, row.companion_of) for row in rows]

    def held_sizes(self) -> dict[int, set[str]]:
        """Digests that some volume holds, by size: who has no size in common is surely new."""
        found: dict[int, set[str]] = {}
        with transaction(self.engine) as session:
            for size, digest in session.execute(select(HoldingRow.size, HoldingRow.digest).distinct()):
                found.setdefault(size, set()).add(digest)
        return found

    def companions(self, frame: str) -> list[tuple[str, str]]:
        """(path, role) of the files that belong to a frame."""
        with transaction(self.engine) as session:
            apart = FileRow.digest.in_(standing_for([frame]))
            query = select(FileRow).where(or_(FileRow.companion_of == frame, apart)).order_by(FileRow.path)
            return [(row.path, row.role) for row in session.scalars(query)]

    def copies(self, digest: str) -> list[Copy]:
        with transaction(self.engine) as session:
            query = select(HoldingRow).where(HoldingRow.digest == digest)
            query = query.order_by(HoldingRow.volume, HoldingRow.folder, HoldingRow.path)
            return [Copy(volume=r.volume, path=f"{r.folder}/{r.path}") for r in session.scalars(query)]

    def files_of_roll(self, roll: str) -> dict[str, tuple[str, int, str]]:
        """(digest, size, time of its last change) of every file that a roll states, by path below it."""
        with transaction(self.engine) as session:
            query = select(FileRow).where(FileRow.roll == roll).order_by(FileRow.path)
            return {row.path: (row.digest, row.size, row.modified) for row in session.scalars(query)}

    def sites_of_rolls(self, rolls: Iterable[str]) -> dict[str, Site]:
        """The site of each of these rolls that has one."""
        found: dict[str, Site] = {}
        with transaction(self.engine) as session:
            known = {site.id: site for site in registers.sites(session)}
            for chunk in chunks(sorted(set(rolls))):
                rows = session.execute(select(RollRow.id, RollRow.site).where(RollRow.id.in_(chunk)))
                found |= {row.id: known[row.site] for row in rows if row.site in known}
        return found

    def rolls(self) -> dict[str, str]:
        """Roll ids by folder."""
        with transaction(self.engine) as session:
            return {row.folder: row.id for row in session.execute(select(RollRow.folder, RollRow.id))}

    def faults(self) -> list[JournalFault]:
        with transaction(self.engine) as session:
            rows = session.scalars(select(FaultRow).order_by(FaultRow.place, FaultRow.name))
            return [JournalFault(place=r.place, name=r.name, message=r.message) for r in rows]

    def dump(self) -> dict[str, list[tuple[Any, ...]]]:
        """Every table, every row, in a fixed order: two catalogues of one archive give the same.

        Left out is how its folders looked when they were last listed, which says nothing of the archive.
        """
        with transaction(self.engine) as session:
            return {
                table.name: [
                    tuple(row) for row in session.execute(select(table).order_by(*table.primary_key.columns))
                ]
                for table in Base.metadata.sorted_tables
                if table.name != JournalFolderRow.__tablename__
            }


def _take(session: Session, read: Iterable[EntryRows]) -> list[Unnumbered]:
    affected = apply_entries(session, read)
    affected.cameras |= outdated(session)
    session.flush()
    unnumbered = derive(session, affected)
    settle_contests(session, affected)
    return unnumbered
