"""Frames that a query asks for: its tree becomes conditions of SQL, its values always parameters.

A condition on something that is not known of a frame does not hold, and `not` turns it round: what is
answered is what a plain filter over all frames would give. Nights are gone through in the order of time, few
at first and then more at once, and only those that may hold an answer; see ``zones``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    and_,
    exists,
    false,
    func,
    literal,
    not_,
    or_,
    select,
    true,
    type_coerce,
)
from sqlalchemy.orm import Session

from archive.catalogue import registers
from archive.catalogue.affected import chunks
from archive.catalogue.contradicting import contradictory
from archive.catalogue.database import transaction
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.index import Catalogue
from archive.catalogue.query import Condition, Either, Every, Not, Tree
from archive.catalogue.query_fields import Text, Truth
from archive.catalogue.rows import FrameKeywordRow, FrameRow, NightCameraRow, RollRow, SequenceRow
from archive.catalogue.zones import Zones, text, within
from archive.model.capture import Frame

MOST_COUNTED = 10_000
"""Further matches are not counted: the answer is to come at once."""
MOST_LOOKED_AT = 20_000
"""Frames that are gone through to count matches, once the first of them are found."""
_MOMENT = type_coerce(FrameRow.taken, BigInteger).label("moment")
_FIRST_LOOK = 2_000
_GROWTH = 3


@dataclass(frozen=True, kw_only=True)
class Matches:
    """The first frames that match, in the order they were taken, and how many there are.

    Where ``more`` is set there may be more than ``count``: counting stopped, so as not to keep anyone
    waiting.
    """

    frames: tuple[Frame, ...]
    count: int
    more: bool = False


def matching(catalogue: Catalogue, tree: Tree, limit: int) -> Matches:
    """The first ``limit`` frames for which the tree holds, and how many there are."""
    if contradictory(tree):
        return Matches(frames=(), count=0)
    with transaction(catalogue.engine) as session:
        meaning = _Meaning(session)
        holds = meaning.of(tree)
        # A bare condition on the night's camera would let the database begin with all frames of that camera.
        some = _never_unknown(meaning.zones.of(tree).some)
        found: list[tuple[int, str]] = []
        count = looked = 0
        more = False
        for group in _groups(session, some):
            sure = sum(moment < group.first for moment, _ in found)
            if sure >= limit and (count > MOST_COUNTED or looked >= MOST_LOOKED_AT):
                more = True
                break
            if sure < limit:
                # Both at once: whether the conditions hold is worked out once for each frame.
                query = group.matching(some, holds, _MOMENT, FrameRow.id, func.count().over().label("all"))
                came = session.execute(query.order_by(FrameRow.taken, FrameRow.id).limit(limit)).all()
                # A night may begin before another one ends: the groups overlap.
                found = sorted([*found, *((row.moment, row.id) for row in came)])[:limit]
                count += came[0].all if came else 0
            elif count <= MOST_COUNTED:
                counted = group.matching(some, holds, literal(1)).limit(MOST_COUNTED + 1 - count).subquery()
                count += session.scalar(select(func.count()).select_from(counted)) or 0
            looked += group.frames
        known: dict[str, Frame] = {}
        for chunk in chunks([frame for _, frame in found]):
            rows = session.execute(FRAMES.where(FrameRow.id.in_(chunk)))
            known |= {row.id: frame_of_row(row) for row in rows}
        frames = tuple(known[frame] for _, frame in found)
    return Matches(frames=frames, count=min(count, MOST_COUNTED + 1), more=more or count > MOST_COUNTED)


@dataclass(frozen=True, kw_only=True)
class _Group:
    """Nights that begin one after the other, from one moment to another, and how many frames they have."""

    first: int
    last: int
    frames: int

    def matching(self, some: ColumnElement[bool], holds: ColumnElement[bool], *told: Any) -> Any:
        """A query that tells this of the frames of these nights that match, in any order."""
        night, frame = NightCameraRow, FrameRow
        return (
            select(*told)
            .select_from(night)
            .join(frame, and_(frame.night == night.night, frame.camera == night.camera))
            .where(type_coerce(night.first, BigInteger).between(self.first, self.last), some, holds)
        )


def _groups(session: Session, some: ColumnElement[bool]) -> Iterator[_Group]:
    """All nights that may hold an answer, in groups that grow."""
    first = type_coerce(NightCameraRow.first, BigInteger)
    nights: Sequence[Any] = session.execute(
        select(first, NightCameraRow.frames).where(some).order_by(first)
    ).all()
    wanted, start, frames = _FIRST_LOOK, 0, 0
    for at, (moment, held) in enumerate(nights):
        frames += held
        last = at + 1 == len(nights)
        if last or (frames >= wanted and nights[at + 1][0] > moment):
            yield _Group(first=nights[start][0], last=moment, frames=frames)
            wanted, start, frames = wanted * _GROWTH, at + 1, 0


class _Meaning:
    """What each condition means in this catalogue, with its cameras and sites by name."""

    def __init__(self, session: Session) -> None:
        cameras = {key: camera.name for key, camera in registers.cameras(session).items()}
        sites = {site.id: site.name for site in registers.sites(session)}
        self._fields: dict[str, Callable[[Any], ColumnElement[bool]]] = {
            "night": lambda c: within(FrameRow.night, c),
            "camera": lambda c: FrameRow.camera.in_(_named(cameras, c)),
            "site": lambda c: FrameRow.roll.in_(select(RollRow.id).where(RollRow.site.in_(_named(sites, c)))),
            "name": lambda c: text(FrameRow.name, c),
            "sequence": lambda c: and_(
                FrameRow.sequence.is_not(None),
                FrameRow.sequence.in_(select(SequenceRow.key).where(within(SequenceRow.number, c))),
            ),
            "rating": lambda c: within(FrameRow.rating, c),
            "keyword": _keyword,
            "exposure": lambda c: within(FrameRow.exposure_s, c),
            "iso": lambda c: within(FrameRow.iso, c),
            "aperture": lambda c: within(FrameRow.f_number, c),
            "focal": lambda c: within(FrameRow.focal_mm, c),
            "sun": lambda c: within(FrameRow.sun, c),
            "moon": lambda c: within(FrameRow.moon, c),
            "developed": lambda c: _truth(FrameRow.developed, c),
            "exported": lambda c: _truth(FrameRow.exported, c),
        }
        self.zones = Zones(
            lambda c: _named(cameras, c),
            lambda c: _named(sites, c),
            plain_order=session.get_bind().dialect.name == "sqlite",
        )

    def of(self, tree: Tree) -> ColumnElement[bool]:
        match tree:
            case Every(parts=parts):
                return and_(true(), *map(self.of, parts))
            case Either(parts=parts):
                return or_(false(), *map(self.of, parts))
            case Not(part=part):
                return not_(self.of(part))
            case Condition(field=field, compare=compare):
                return _never_unknown(self._fields[field.name](compare))


def _named(names: dict[str, str], compare: Text) -> list[str]:
    return sorted(key for key, name in names.items() if _is(name, compare) != compare.outside)


def _is(name: str, compare: Text) -> bool:
    return name.startswith(compare.text) if compare.start else name == compare.text


def _never_unknown(condition: ColumnElement[bool]) -> ColumnElement[bool]:
    """False where SQL would say neither, so that `not` means what it says."""
    return func.coalesce(condition, false())


def _keyword(compare: Text) -> ColumnElement[bool]:
    """A frame has a keyword, or with != has it not; it may have others."""
    asked = text(FrameKeywordRow.word, Text(text=compare.text, start=compare.start))
    given = exists().where(FrameKeywordRow.frame == FrameRow.id, asked)
    return not_(given) if compare.outside else given


def _truth(column: Any, compare: Truth) -> ColumnElement[bool]:
    return and_(column.is_(true() if compare.yes else false()))
