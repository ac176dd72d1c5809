"""Frames that a query asks for: its tree becomes conditions of SQL, its values always parameters.

A condition on something that is not known of a frame does not hold, and `not` turns it round: what is
answered is what a plain filter over all frames would give.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Integer,
    SQLColumnExpression,
    Subquery,
    and_,
    cast,
    exists,
    false,
    func,
    literal,
    not_,
    or_,
    select,
    true,
)
from sqlalchemy.orm import InstrumentedAttribute, Session

from archive.catalogue import registers
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue, frame_of_row
from archive.catalogue.query import Condition, Either, Every, Not, Tree
from archive.catalogue.query_fields import Text, Truth, Within
from archive.catalogue.rows import (
    FrameRow,
    OriginRow,
    PairRow,
    RollRow,
    SequenceRow,
    StatementRow,
    VersionRow,
)
from archive.model.capture import Frame

MOST_COUNTED = 10_000
"""Further matches are not counted: the answer is to come at once."""


@dataclass(frozen=True, kw_only=True)
class Matches:
    """The first frames that match, in the order they were taken; ``count`` stops at MOST_COUNTED + 1."""

    frames: tuple[Frame, ...]
    count: int


def matching(catalogue: Catalogue, tree: Tree, limit: int) -> Matches:
    """The first ``limit`` frames for which the tree holds, and how many there are."""
    with transaction(catalogue.engine) as session:
        holds = _Meaning(session).of(tree)
        order = FrameRow.taken, FrameRow.id
        # The ids first: an index answers them without touching the wide rows.
        ids = select(FrameRow.id).where(holds).order_by(*order).limit(limit)
        query = select(FrameRow).where(FrameRow.id.in_(ids.scalar_subquery())).order_by(*order)
        frames = tuple(frame_of_row(row) for row in session.scalars(query))
        some = select(FrameRow.id).where(holds).limit(MOST_COUNTED + 1).subquery()
        counted = session.scalar(select(func.count()).select_from(some)) or 0
    return Matches(frames=frames, count=counted)


class _Meaning:
    """What each condition means in this catalogue, with its cameras and sites by name."""

    def __init__(self, session: Session) -> None:
        self._cameras = {key: camera.name for key, camera in registers.cameras(session).items()}
        self._sites = {site.id: site.name for site in registers.sites(session)}
        self._fields: dict[str, Callable[[Any], ColumnElement[bool]]] = {
            "night": lambda c: _within(FrameRow.night, c),
            "camera": lambda c: self._camera(c),
            "site": lambda c: self._site(c),
            "name": lambda c: _text(FrameRow.name, c),
            "sequence": lambda c: FrameRow.sequence.in_(
                select(SequenceRow.key).where(_within(SequenceRow.number, c))
            ),
            "rating": _rating,
            "keyword": _keyword,
            "exposure": lambda c: _within(FrameRow.exposure_s, c),
            "iso": lambda c: _within(FrameRow.iso, c),
            "aperture": lambda c: _within(FrameRow.f_number, c),
            "focal": lambda c: _within(FrameRow.focal_mm, c),
            "sun": lambda c: _within(FrameRow.sun, c),
            "moon": lambda c: _within(FrameRow.moon, c),
            "developed": lambda c: _truth(_about(VersionRow.frame), c),
            "exported": lambda c: _truth(_about(OriginRow.frame), c),
        }

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

    def _camera(self, compare: Text) -> ColumnElement[bool]:
        # A camera that was never named is known by its id.
        named = _named(self._cameras, compare)
        return FrameRow.camera.in_(named)

    def _site(self, compare: Text) -> ColumnElement[bool]:
        named = _named(self._sites, compare)
        return FrameRow.roll.in_(select(RollRow.id).where(RollRow.site.in_(named)))


def _named(names: dict[str, str], compare: Text) -> list[str]:
    return sorted(key for key, name in names.items() if _is(name, compare) != compare.outside)


def _is(name: str, compare: Text) -> bool:
    return name.startswith(compare.text) if compare.start else name == compare.text


def _never_unknown(condition: ColumnElement[bool]) -> ColumnElement[bool]:
    """False where SQL would say neither, so that `not` means what it says."""
    return func.coalesce(condition, false())


def _within(column: SQLColumnExpression[Any], compare: Within) -> ColumnElement[bool]:
    parts: list[ColumnElement[bool]] = [column.is_not(None)]
    if compare.low is not None:
        low = literal(compare.low)
        parts.append(column >= low if compare.low_in else column > low)
    if compare.high is not None:
        high = literal(compare.high)
        parts.append(column <= high if compare.high_in else column < high)
    return and_(parts[0], not_(and_(*parts))) if compare.outside else and_(*parts)


def _text(column: SQLColumnExpression[Any], compare: Text) -> ColumnElement[bool]:
    # Not LIKE: databases differ in whether it tells capitals apart.
    known = func.substr(column, 1, len(compare.text)) if compare.start else column
    return known != literal(compare.text) if compare.outside else known == literal(compare.text)


def _rating(compare: Within) -> ColumnElement[bool]:
    """A frame that was never rated has 0."""
    said = _newest_said("rating")
    rating = cast(said.c.value, Integer)
    if _holds(0, compare):
        return FrameRow.id.not_in(select(said.c.frame).where(not_(_within(rating, compare))))
    return FrameRow.id.in_(select(said.c.frame).where(_within(rating, compare)))


def _newest_said(layer: str) -> Subquery:
    """What was stated last about each frame and line; what is said of a companion is said of its frame."""
    frame = func.coalesce(PairRow.frame, StatementRow.subject)
    place = func.row_number().over(
        partition_by=(frame, StatementRow.line),
        order_by=(StatementRow.counter.desc(), StatementRow.entry.desc()),
    )
    said = (
        select(frame.label("frame"), StatementRow.line, StatementRow.value, place.label("place"))
        .outerjoin(PairRow, and_(PairRow.companion == StatementRow.subject, PairRow.counts))
        .where(StatementRow.layer == layer)
        .subquery()
    )
    return select(said).where(said.c.place == 1).subquery()


def _holds(value: float, compare: Within) -> bool:
    low = compare.low is None or value > compare.low or (compare.low_in and value == compare.low)  # type: ignore[operator]
    high = compare.high is None or value < compare.high or (compare.high_in and value == compare.high)  # type: ignore[operator]
    return (low and high) != compare.outside


def _keyword(compare: Text) -> ColumnElement[bool]:
    """A frame has a keyword, or with != has it not; it may have others."""
    said = _newest_said("keyword")
    asked = _text(said.c.line, Text(text=compare.text, start=compare.start))
    given = select(said.c.frame).where(said.c.value == "true", asked)
    return FrameRow.id.not_in(given) if compare.outside else FrameRow.id.in_(given)


def _about(column: InstrumentedAttribute[str]) -> ColumnElement[bool]:
    """Whether a row speaks of the frame, or of a companion that stands for it."""
    stands = exists().where(column == PairRow.companion, PairRow.frame == FrameRow.id, PairRow.counts)
    return or_(exists().where(column == FrameRow.id), stands)


def _truth(condition: ColumnElement[bool], compare: Truth) -> ColumnElement[bool]:
    return condition if compare.yes else not_(condition)
