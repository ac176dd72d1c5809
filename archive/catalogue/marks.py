"""What was said and done about each frame, put beside it to be asked for: rating, keywords, recipes, exports.

What concerns a companion that stands for a frame concerns the frame.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import bindparam, delete, select, update
from sqlalchemy.orm import InstrumentedAttribute, Session

from archive.catalogue.affected import Affected, chunks
from archive.catalogue.inserting import insert_rows
from archive.catalogue.rows import FrameKeywordRow, FrameRow, OriginRow, StatementRow, VersionRow
from archive.catalogue.standing_for import companions_of, stand_for, standing_for


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Of some frames: ratings, keywords, and which were developed or exported, by id."""

    ratings: dict[str, int]
    words: dict[str, list[str]]
    developed: set[str]
    exported: set[str]

    def columns(self, frame: str) -> dict[str, Any]:
        """What stands in a frame's row."""
        return {
            "rating": self.ratings.get(frame, 0),
            "developed": frame in self.developed,
            "exported": frame in self.exported,
        }

    def word_rows(self, frames: Sequence[str]) -> list[dict[str, str]]:
        return [{"frame": frame, "word": word} for frame in frames for word in self.words.get(frame, ())]


def marks_of(session: Session, digests: Any, pairs: dict[str, str]) -> Marks:
    """The marks of frames: a list, or a query that answers them; ``pairs`` are the companions they have."""
    said = said_last(session, "keyword", digests, pairs)
    words: dict[str, list[str]] = {}
    for (frame, word), value in said.items():
        if value is True:
            words.setdefault(frame, []).append(word)
    rated = said_last(session, "rating", digests, pairs)
    return Marks(
        ratings={frame: int(value) for (frame, line), value in rated.items() if line == ""},
        words=words,
        developed=_concerned(session, VersionRow.frame, digests, pairs),
        exported=_concerned(session, OriginRow.frame, digests, pairs),
    )


def said_last(
    session: Session, layer: str, digests: Any, pairs: dict[str, str]
) -> dict[tuple[str, str], Any]:
    """What was stated last in a layer about frames, or companions that stand for them; by frame and line."""
    rows: list[Any] = []
    for some in (digests, standing_for(digests)) if pairs else (digests,):
        query = select(
            StatementRow.subject,
            StatementRow.line,
            StatementRow.counter,
            StatementRow.entry,
            StatementRow.value,
        )
        rows += session.execute(query.where(StatementRow.layer == layer, StatementRow.subject.in_(some)))
    rows.sort(key=lambda row: (row.counter, row.entry))
    return {(pairs.get(row.subject, row.subject), row.line): json.loads(row.value) for row in rows}


def _concerned(
    session: Session, column: InstrumentedAttribute[str], digests: Any, pairs: dict[str, str]
) -> set[str]:
    found: set[str] = set()
    for some in (digests, standing_for(digests)) if pairs else (digests,):
        rows = session.scalars(select(column).where(column.in_(some)).distinct())
        found.update(pairs.get(digest, digest) for digest in rows)
    return found


def tell_marks(session: Session, affected: Affected) -> None:
    """Put the marks of frames anew that something was said or done about."""
    for chunk in chunks(sorted(affected.marked | affected.developed)):
        frames = sorted({*chunk, *stand_for(session, chunk).values()})
        places = select(FrameRow.id, FrameRow.night, FrameRow.camera).where(FrameRow.id.in_(frames))
        held = {row.id: (row.night, row.camera) for row in session.execute(places)}
        if not held:
            continue
        ids = sorted(held)
        marks = marks_of(session, ids, companions_of(session, ids))
        affected.nights.update(held.values())
        session.connection().execute(_MARK, [{"marked": each, **marks.columns(each)} for each in ids])
        session.execute(delete(FrameKeywordRow).where(FrameKeywordRow.frame.in_(ids)))
        insert_rows(session, FrameKeywordRow, marks.word_rows(ids))


_MARK = (
    update(FrameRow.__table__)  # type: ignore[arg-type]
    .where(FrameRow.__table__.c.id == bindparam("marked"))
    .values({name: bindparam(name) for name in ("rating", "developed", "exported")})
)
