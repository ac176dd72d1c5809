"""What levelling adds to frames now: of several statements about a frame, the last one's."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sqlalchemy import select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import SelectionFrameRow, StatementRow
from archive.catalogue.standing_for import companions_of
from archive.model.entry import LEVELLING
from archive.model.identity import EntryId
from archive.model.survey import Level


def levels_of(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, Level]:
    """The level of each of these frames that has one; a statement taken back gives none."""
    found = _last(catalogue, frames)
    return {
        frame: Level(stops=stops, entry=entry) for frame, (entry, stops) in found.items() if stops is not None
    }


def last_levellings(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, EntryId]:
    """The entry that levelled each of these frames last, or took its levelling back."""
    return {frame: entry for frame, (entry, _) in _last(catalogue, frames).items()}


def _last(catalogue: Catalogue, frames: Sequence[str]) -> dict[str, tuple[EntryId, float | None]]:
    found: dict[str, tuple[EntryId, float | None]] = {}
    order: dict[str, tuple[int, str]] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(frames, 400):
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
            values: dict[tuple[str, str], list[float]] = {}
            for told, position, counter, entry, text in session.execute(query):
                frame = pairs.get(told, told)
                if frame in order and order[frame] >= (counter, entry):
                    continue
                # One entry may level several selections, each by a value of its own.
                if (entry, text) not in values:
                    value = json.loads(text)
                    values[entry, text] = value["stops"] if value else []
                stops = values[entry, text]
                order[frame] = (counter, entry)
                found[frame] = (EntryId(entry), stops[position] if position < len(stops) else None)
    return found
