"""What levelling adds to frames now: of several statements about a frame, the last one's."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sqlalchemy import select

from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import SelectionFrameRow, StatementRow
from archive.catalogue.standing_for import companions_of
from archive.model.entry import LEVELLING
from archive.model.identity import EntryId
from archive.model.survey import Level


def levels_of(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, Level]:
    """The level of each of these frames that has one; a statement taken back gives none."""
    found: dict[str, Level | None] = {}
    order: dict[str, tuple[int, str]] = {}
    with transaction(catalogue.engine) as session:
        for start in range(0, len(frames), 400):
            chunk = frames[start : start + 400]
            pairs = companions_of(session, chunk)
            query = (
                select(
                    SelectionFrameRow.frame,
                    SelectionFrameRow.position,
                    StatementRow.counter,
                    StatementRow.entry,
                    StatementRow.value,
                )
                .join(StatementRow, StatementRow.subject == SelectionFrameRow.selection)
                .where(StatementRow.layer == LEVELLING, SelectionFrameRow.frame.in_([*chunk, *pairs]))
            )
            values: dict[str, list[float] | None] = {}
            for told, position, counter, entry, text in session.execute(query):
                frame = pairs.get(told, told)
                if frame in order and order[frame] >= (counter, entry):
                    continue
                if entry not in values:
                    value = json.loads(text)
                    values[entry] = value["stops"] if value else None
                stops = values[entry]
                order[frame] = (counter, entry)
                held = stops is not None and position < len(stops)
                found[frame] = Level(stops=stops[position], entry=EntryId(entry)) if stops and held else None
    return {frame: level for frame, level in found.items() if level is not None}
