"""What the frames of each camera in each night have in common, summed up anew where they changed."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import Integer, cast, delete, func, select, tuple_
from sqlalchemy.orm import Session

from archive.catalogue.inserting import insert_rows
from archive.catalogue.rows import (
    FrameKeywordRow,
    FrameRow,
    NightCameraRow,
    NightWordRow,
    RollRow,
    SequenceRow,
)

SPANNED = ("name", "rating", "exposure_s", "f_number", "iso", "focal_mm", "sun", "moon")
"""Columns of a frame of which the least and the greatest value in a night is kept."""
_CHUNK = 200


def tell_nights(session: Session, nights: Collection[tuple[str, str]] | None) -> None:
    """Sum up these pairs of night and camera anew, or all there are."""
    if nights is None:
        for row in (NightCameraRow, NightWordRow):
            session.execute(delete(row))
        _sum(session, None)
        return
    ordered = sorted(nights)
    for start in range(0, len(ordered), _CHUNK):
        some = ordered[start : start + _CHUNK]
        for row in (NightCameraRow, NightWordRow):
            session.execute(delete(row).where(tuple_(row.night, row.camera).in_(some)))
        _sum(session, some)


def _sum(session: Session, some: list[tuple[str, str]] | None) -> None:
    place = (FrameRow.night, FrameRow.camera)

    def narrowed(query: Any) -> Any:
        return query if some is None else query.where(tuple_(*place).in_(some))

    sites = func.count(RollRow.site.distinct()) + func.max(cast(RollRow.site.is_(None), Integer))
    spans = [
        end(getattr(FrameRow, name)).label(f"{name}_{what}")
        for name in SPANNED
        for what, end in (("low", func.min), ("high", func.max))
    ]
    whole = narrowed(
        select(
            *place,
            func.min(FrameRow.taken).label("first"),
            func.max(FrameRow.taken).label("last"),
            func.count().label("frames"),
            func.sum(cast(FrameRow.developed, Integer)).label("developed"),
            func.sum(cast(FrameRow.exported, Integer)).label("exported"),
            sites.label("sites"),
            func.max(RollRow.site).label("site"),
            *spans,
        ).join(RollRow, RollRow.id == FrameRow.roll)
    ).group_by(*place)
    runs = narrowed(select(*place, FrameRow.sequence).where(FrameRow.sequence.is_not(None)))
    each = runs.distinct().subquery()
    numbers = (
        select(
            each.c.night,
            each.c.camera,
            func.count(),
            func.min(SequenceRow.number),
            func.max(SequenceRow.number),
        )
        .join(SequenceRow, SequenceRow.key == each.c.sequence)
        .group_by(each.c.night, each.c.camera)
    )
    numbered = {(night, camera): rest for night, camera, *rest in session.execute(numbers)}
    rows = []
    for row in session.execute(whole):
        sequences, low, high = numbered.get((row.night, row.camera), (0, None, None))
        told = {"sequences": sequences, "number_low": low, "number_high": high}
        rows.append({**row._mapping, **told})
    insert_rows(session, NightCameraRow, rows)
    words = narrowed(
        select(*place, FrameKeywordRow.word).join(FrameRow, FrameRow.id == FrameKeywordRow.frame)
    )
    held = [dict(row._mapping) for row in session.execute(words.distinct())]
    insert_rows(session, NightWordRow, held)
