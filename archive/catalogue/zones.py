"""Which nights may hold frames that a query asks for, told by what is known of each night as a whole.

A night is passed over only where none of its frames can match. So a question that few frames answer is
answered from few nights, however many there are.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, exists, false, func, literal, not_, or_, true

from archive.catalogue.query import Condition, Either, Every, Not, Tree
from archive.catalogue.query_fields import Text, Truth, Within
from archive.catalogue.rows import NightCameraRow, NightWordRow

Held = NightCameraRow
_COLUMNS = {
    "sequence": "number",
    "rating": "rating",
    "exposure": "exposure_s",
    "iso": "iso",
    "aperture": "f_number",
    "focal": "focal_mm",
    "sun": "sun",
    "moon": "moon",
}


@dataclass(frozen=True, kw_only=True)
class Zone:
    """Conditions on a night: ``some`` holds wherever a frame matches, ``every`` only where all do."""

    some: ColumnElement[bool]
    every: ColumnElement[bool]


class Zones:
    """What each condition means for a night of a camera.

    Parameters
    ----------
    cameras, sites : the ids that a name stands for, asked by a comparison.
    plain_order : whether the database orders texts by their characters alone, so that texts which begin
        alike lie together.
    """

    def __init__(
        self,
        cameras: Callable[[Text], list[str]],
        sites: Callable[[Text], list[str]],
        *,
        plain_order: bool,
    ) -> None:
        self._plain_order = plain_order
        self._fields: Mapping[str, Callable[[Any], Zone]] = {
            "night": lambda c: _sure(within(Held.night, c)),
            "camera": lambda c: _sure(Held.camera.in_(cameras(c))),
            "site": lambda c: _maybe(or_(Held.sites > 1, Held.site.in_(sites(c)))),
            "name": self._name,
            "keyword": self._keyword,
            "developed": lambda c: _counted(Held.developed, c),
            "exported": lambda c: _counted(Held.exported, c),
            **{field: _spanned(column) for field, column in _COLUMNS.items()},
        }

    def of(self, tree: Tree) -> Zone:
        match tree:
            case Every(parts=parts):
                zones = [self.of(part) for part in parts]
                return Zone(
                    some=and_(true(), *(zone.some for zone in zones)),
                    every=and_(true(), *(zone.every for zone in zones)),
                )
            case Either(parts=parts):
                zones = [self.of(part) for part in parts]
                return Zone(
                    some=or_(false(), *(zone.some for zone in zones)),
                    every=or_(false(), *(zone.every for zone in zones)),
                )
            case Not(part=part):
                zone = self.of(part)
                return Zone(some=not_(zone.every), every=not_(zone.some))
            case Condition(field=field, compare=compare):
                return self._fields[field.name](compare)

    def _name(self, compare: Text) -> Zone:
        if compare.outside or (compare.start and not self._plain_order):
            return _maybe(true())
        parts = []
        for asked in compare.texts:
            low = func.substr(Held.name_low, 1, len(asked)) if compare.start else Held.name_low
            parts.append(and_(low <= asked, Held.name_high >= asked))
        return _maybe(or_(false(), *parts))

    def _keyword(self, compare: Text) -> Zone:
        if compare.outside:
            return _maybe(true())
        word = text(NightWordRow.word, compare)
        return _maybe(
            exists().where(NightWordRow.night == Held.night, NightWordRow.camera == Held.camera, word)
        )


def _sure(condition: ColumnElement[bool]) -> Zone:
    """What holds for a night as a whole, or does not."""
    return Zone(some=condition, every=condition)


def _maybe(condition: ColumnElement[bool]) -> Zone:
    return Zone(some=func.coalesce(condition, false()), every=false())


def _counted(column: Any, compare: Truth) -> Zone:
    some, every = column > 0, column == Held.frames
    return Zone(some=some, every=every) if compare.yes else Zone(some=not_(every), every=not_(some))


def _spanned(name: str) -> Callable[[Within], Zone]:
    low, high = getattr(Held, f"{name}_low"), getattr(Held, f"{name}_high")

    def zone(compare: Within) -> Zone:
        if compare.outside:
            return _maybe(low.is_not(None))
        parts: list[ColumnElement[bool]] = [low.is_not(None)]
        if compare.low is not None:
            parts.append(high >= literal(compare.low))
        if compare.high is not None:
            parts.append(low <= literal(compare.high))
        return _maybe(and_(*parts))

    return zone


def within(column: Any, compare: Within) -> ColumnElement[bool]:
    """Whether a value is known and between two bounds, or known and not; false for nothing."""
    parts: list[ColumnElement[bool]] = [column.is_not(None)]
    if compare.low is not None:
        low = literal(compare.low)
        parts.append(column >= low if compare.low_in else column > low)
    if compare.high is not None:
        high = literal(compare.high)
        parts.append(column <= high if compare.high_in else column < high)
    return and_(parts[0], not_(and_(*parts))) if compare.outside else and_(*parts)


def text(column: Any, compare: Text) -> ColumnElement[bool]:
    """Whether a text is, or begins with, what is asked for; its case counts."""
    # Not LIKE: databases differ in whether it tells capitals apart.
    parts = [
        (func.substr(column, 1, len(asked)) if compare.start else column) == literal(asked)
        for asked in compare.texts
    ]
    return not_(or_(*parts)) if compare.outside else or_(*parts)
