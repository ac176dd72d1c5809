"""Rows of frames read as the model's frames, in one statement with the facts that their files have."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import and_, func, select

from archive.catalogue.rows import FileRow, FrameRow
from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.identity import FrameId

FRAMES = select(
    FrameRow.id,
    FrameRow.camera,
    FrameRow.roll,
    FrameRow.path,
    FrameRow.role,
    FrameRow.taken,
    FrameRow.time_source,
    FrameRow.night,
    FrameRow.sequence,
    FrameRow.position,
    func.coalesce(FrameRow.facts, FileRow.facts).label("facts"),
).join(FileRow, and_(FileRow.roll == FrameRow.roll, FileRow.path == FrameRow.path))
"""A query for whole frames, to be narrowed down; ``frame_of_row`` reads what it answers."""


def frame_of_row(row: Any) -> Frame:
    """The model's frame in a row of ``FRAMES``."""
    return Frame(
        id=FrameId(row.id),
        camera=row.camera,
        roll=row.roll,
        path=row.path,
        role=Role(row.role),
        taken=row.taken,
        time_source=row.time_source,
        facts=CaptureFacts.from_json(json.loads(row.facts)) if row.facts else CaptureFacts(),
        night=row.night,
        sequence=row.sequence,
        index=row.position,
    )
