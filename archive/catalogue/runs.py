"""The sequences of each camera, told anew only where frames came, went or moved in time.

Frames further apart than the longest gap never share a sequence unless a person joins them. So a camera's
years fall into stretches that know nothing of each other, and one night's card touches only its own.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, and_, bindparam, delete, func, literal, select, tuple_, type_coerce, update
from sqlalchemy.orm import Session

from archive.catalogue.affected import Affected
from archive.catalogue.database import kept_rows
from archive.catalogue.hands import Hands
from archive.catalogue.inserting import insert_stored
from archive.catalogue.readahead import Progress
from archive.catalogue.registers import written
from archive.catalogue.rows import FrameRow, PairRow, RollRow, SequenceRow, StatementRow, instant
from archive.catalogue.standing_for import all_pairs
from archive.catalogue.telling import Moments
from archive.model.entry import SEQUENCE_NUMBER
from archive.nights.capture_time import TimeSource
from archive.nights.sequences import find_sequences
from archive.nights.shots import LONGEST_GAP_S, Shot

_GAP = timedelta(seconds=LONGEST_GAP_S)
_PAGE = 2_000

Place = tuple[Any, ...]
"""A frame's id, time in milliseconds, path, exposure, ISO, aperture, focal length, night and site."""
_NIGHT, _SITE = 7, 8

Found = tuple[list[int], int, float]
"""A run: where its frames stand in their block, how many were missed, seconds from one to the next."""

Address = tuple[str, int]
"""Night and number of a sequence."""

Span = tuple[datetime, datetime]
"""First and last moment of a stretch of time, both included."""


@dataclass(frozen=True, kw_only=True)
class Unnumbered:
    """A sequence that was found and has no number yet; ``first`` is the frame its number will hang on."""

    camera: str
    night: str
    number: int
    first: str


def tell_sequences(session: Session, moments: Moments, affected: Affected) -> list[Unnumbered]:
    """Write the sequences around these moments; answers those that need a number.

    Nights whose frames may be in other sequences than before are put down as affected.
    """
    if not moments:
        return []
    pairs = all_pairs(session)
    joins, breaks = (_stated(session, layer, pairs) for layer in ("sequence-join", "sequence-break"))
    claims = _claims(session, pairs)
    unnumbered: list[Unnumbered] = []
    for camera, touched in sorted(moments.items()):
        stretches = _Stretches(session, camera, joins)
        teller = _Teller(session, camera, joins, breaks, claims.get(camera, {}))
        for span in stretches.around(touched):
            for block in stretches.blocks(span):
                affected.nights.update((night, camera) for night in {place[_NIGHT] for place in block})
                unnumbered += teller.tell(*runs_among(*teller.asked(block)))
    return unnumbered


def tell_all_sequences(session: Session, hands: Hands, progress: Progress | None) -> list[Unnumbered]:
    """Write the sequences of all cameras, where none are written yet and no index of frames tells them."""
    pairs = all_pairs(session)
    joins, breaks = (_stated(session, layer, pairs) for layer in ("sequence-join", "sequence-break"))
    claims = _claims(session, pairs)
    unnumbered: list[Unnumbered] = []
    frames, done = session.scalar(select(func.count()).select_from(FrameRow)) or 0, 0
    for camera in sorted(session.scalars(select(FrameRow.camera).distinct())):
        stretches = _Stretches(session, camera, joins)
        teller = _Teller(session, camera, joins, breaks, claims.get(camera, {}))
        for block, runs in hands.each(runs_among, map(teller.asked, stretches.all_blocks())):
            unnumbered += teller.tell(block, runs)
            if progress:
                progress("Finding sequences", done, frames)
            done += len(block)
    return unnumbered


def _stated(session: Session, layer: str, pairs: dict[str, str]) -> frozenset[str]:
    query = select(StatementRow.subject, StatementRow.value).where(StatementRow.layer == layer)
    query = query.order_by(StatementRow.counter, StatementRow.entry)
    told = {pairs.get(row.subject, row.subject): json.loads(row.value) for row in session.execute(query)}
    return frozenset(frame for frame, value in told.items() if value)


def _claims(session: Session, pairs: dict[str, str]) -> dict[str, dict[str, list[Address]]]:
    """By camera, the numbers that hang on each anchoring frame; the first stated claim to a number has it.

    A frame has several where archives that numbered it apart were united: none of them is ever given again.
    """
    query = (
        select(StatementRow.subject, StatementRow.value)
        .where(StatementRow.layer == SEQUENCE_NUMBER)
        .order_by(StatementRow.counter, StatementRow.entry, StatementRow.subject)
    )
    claims: dict[str, dict[str, list[Address]]] = {}
    given: set[tuple[str, Address]] = set()
    for row in session.execute(query):
        value = json.loads(row.value)
        camera, address = str(value["camera"]), (str(value["night"]), int(value["number"]))
        if (camera, address) not in given:
            given.add((camera, address))
            # A frame may have a number of its own, and another from a companion that came before it.
            frame = pairs.get(row.subject, row.subject)
            claims.setdefault(camera, {}).setdefault(frame, []).append(address)
    return claims


def sequence_claimed(session: Session, camera: str, night: str, number: int) -> str | None:
    """The key of the sequence that a number was given to, though it goes by another now; None for none."""
    query = (
        select(FrameRow.sequence)
        .select_from(StatementRow)
        .outerjoin(PairRow, and_(PairRow.companion == StatementRow.subject, PairRow.counts))
        .join(FrameRow, FrameRow.id == func.coalesce(PairRow.frame, StatementRow.subject))
        .where(StatementRow.layer == SEQUENCE_NUMBER)
        .where(StatementRow.value == written({"night": night, "camera": camera, "number": number}))
        .order_by(StatementRow.counter, StatementRow.entry, StatementRow.subject)
        .limit(1)
    )
    return session.scalars(query).first()


class _Stretches:
    """The frames of one camera in order of time, cut where nothing can belong together."""

    def __init__(self, session: Session, camera: str, joins: frozenset[str]) -> None:
        self._session = session
        self._camera = camera
        self._joins = joins
        self._timed = (FrameRow.camera == camera, FrameRow.time_source != str(TimeSource.FILE))

    def around(self, moments: Sequence[datetime]) -> list[Span]:
        """The spans of time whose sequences these moments may have changed; old sequences there are gone."""
        spans: list[Span] = []
        for moment in sorted(moments):
            if spans and moment - spans[-1][1] <= _GAP:
                spans[-1] = (spans[-1][0], moment)
            else:
                spans.append((moment, moment))
        merged: list[Span] = []
        for span in sorted(self._whole(span) for span in spans):
            if merged and span[0] <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(merged[-1][1], span[1]))
            else:
                merged.append(span)
        for span in merged:
            self._forget(span)
        return merged

    def _whole(self, span: Span) -> Span:
        """A span with everything that belongs together with it, now or as it was told before."""
        while True:
            low, high = span
            query = select(func.min(SequenceRow.first), func.max(SequenceRow.last)).where(
                SequenceRow.camera == self._camera, SequenceRow.last >= low, SequenceRow.first <= high
            )
            first, last = self._session.execute(query).one()
            wider = self._edge(min(low, first or low), -1), self._edge(max(high, last or high), 1)
            if wider == span:
                return span
            span = wider

    def _edge(self, start: datetime, way: int) -> datetime:
        """The last moment that is reached from ``start`` without a gap that is too long."""
        edge, joined = start, False
        beyond = FrameRow.taken >= start if way > 0 else FrameRow.taken <= start
        order = FrameRow.taken.asc() if way > 0 else FrameRow.taken.desc()
        query = select(FrameRow.id, FrameRow.taken).where(*self._timed, beyond).order_by(order)
        # Read page by page on purpose: the walk mostly ends within the night.
        for row in self._session.execute(query.execution_options(yield_per=_PAGE)):
            held = row.id in self._joins if way > 0 else joined
            if abs(row.taken - edge) > _GAP and not held:
                break
            edge, joined = row.taken, row.id in self._joins
        return edge

    def _forget(self, span: Span) -> None:
        low, high = span
        self._session.execute(
            delete(SequenceRow).where(
                SequenceRow.camera == self._camera, SequenceRow.last >= low, SequenceRow.first <= high
            )
        )
        self._session.execute(
            update(FrameRow)
            .where(FrameRow.camera == self._camera, FrameRow.taken.between(low, high))
            .where(FrameRow.sequence.is_not(None))
            .values(sequence=None, position=None)
        )

    def blocks(self, span: Span) -> Iterator[list[Place]]:
        """The frames of a span in order, in blocks that know nothing of each other."""
        return self._cut(map(tuple, self._rows(span)))

    def all_blocks(self) -> Iterator[list[Place]]:
        """The same of all frames, read in one go."""
        query = self._query().order_by(FrameRow.taken, FrameRow.path, FrameRow.id)
        return self._cut(kept_rows(self._session, query))

    def _cut(self, places: Iterable[Place]) -> Iterator[list[Place]]:
        block: list[Place] = []
        before, gap = 0, 1000 * LONGEST_GAP_S
        for place in places:
            taken = place[1]
            if block and taken - before > gap and place[0] not in self._joins:
                yield block
                block = []
            before = taken
            block.append(place)
        if block:
            yield block

    def _query(self) -> Any:
        columns = (
            FrameRow.id,
            type_coerce(FrameRow.taken, BigInteger).label("taken"),
            FrameRow.path,
            FrameRow.exposure_s,
            FrameRow.iso,
            FrameRow.f_number,
            FrameRow.focal_mm,
            FrameRow.night,
            RollRow.site,
        )
        return select(*columns).join(RollRow, RollRow.id == FrameRow.roll).where(*self._timed)

    def _rows(self, span: Span) -> Iterator[Any]:
        place = tuple_(FrameRow.taken, FrameRow.path, FrameRow.id)
        query = self._query().where(FrameRow.taken.between(*span)).order_by(*place.clauses)
        page = self._session.execute(query.limit(_PAGE)).all()
        while page:
            yield from page
            last = page[-1]
            # Frames are written between the pages: a cursor held open over that may miss some.
            moment = literal(instant(last.taken), FrameRow.taken.type)
            after = place > tuple_(moment, literal(last.path), literal(last.id))
            page = self._session.execute(query.where(after).limit(_PAGE)).all()


class _Teller:
    """Writes the sequences of one camera."""

    def __init__(
        self,
        session: Session,
        camera: str,
        joins: frozenset[str],
        breaks: frozenset[str],
        claims: dict[str, list[Address]],
    ) -> None:
        self._session = session
        self._camera = camera
        self._joins = joins
        self._breaks = breaks
        self._claims = claims
        self._numbers: dict[str, int] = {}
        for night, number in (address for given in claims.values() for address in given):
            self._numbers[night] = max(number, self._numbers.get(night, 0))

    def asked(self, block: list[Place]) -> tuple[list[Place], list[str], list[str]]:
        """What ``runs_among`` is to be asked: these frames, and what people said of them."""
        if not self._breaks and not self._joins:
            return block, [], []
        frames = {place[0] for place in block}
        return block, sorted(frames & self._breaks), sorted(frames & self._joins)

    def tell(self, block: list[Place], runs: list[Found]) -> Iterator[Unnumbered]:
        """Write the sequences among these frames; those without a number are answered instead."""
        placed: list[tuple[str, int, str]] = []
        for at, missed, cadence in runs:
            members = [block[index] for index in at]
            given = (each for place in members for each in self._claims.get(place[0], ()))
            address = min(given, default=None)
            if address is None:
                first, night = members[0][0], members[0][_NIGHT]
                number = self._numbers[night] = self._numbers.get(night, 0) + 1
                yield Unnumbered(camera=self._camera, night=night, number=number, first=first)
                continue
            key = f"{address[0]}/{self._camera}/{address[1]}"
            site = max((place[_SITE] for place in members if place[_SITE] is not None), default=None)
            span = (members[0][1], members[-1][1], len(members))
            row = (key, address[0], self._camera, address[1], *span, missed, cadence, site)
            insert_stored(self._session, "sequence", [row])
            placed += [(key, number, place[0]) for number, place in enumerate(members, 1)]
        if placed:
            _place(self._session, placed)


def _place(session: Session, placed: list[tuple[str, int, str]]) -> None:
    """Put frames at their places in sequences: key, place and id."""
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("UPDATE frame SET sequence = ?, position = ? WHERE id = ?", placed)
    else:
        connection.execute(_PLACE, [{"key": key, "at": at, "frame": frame} for key, at, frame in placed])


_PLACE = (
    update(FrameRow.__table__)  # type: ignore[arg-type]
    .where(FrameRow.__table__.c.id == bindparam("frame"))
    .values(sequence=bindparam("key"), position=bindparam("at"))
)


def runs_among(block: list[Place], breaks: list[str], joins: list[str]) -> tuple[list[Place], list[Found]]:
    """These frames again, and the runs among them; pure."""
    at = {place[0]: index for index, place in enumerate(block)}
    shots = [
        Shot(
            frame=frame,
            start=instant(taken),
            exposure_s=exposure_s,
            iso=iso,
            f_number=f_number,
            focal_mm=focal_mm,
            name=path,
        )
        for frame, taken, path, exposure_s, iso, f_number, focal_mm, *_ in block
    ]
    runs = find_sequences(shots, breaks=frozenset(breaks), joins=frozenset(joins))
    return block, [([at[frame] for frame in run.frames], run.missed, run.cadence_s) for run in runs]
