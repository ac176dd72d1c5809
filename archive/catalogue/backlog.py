"""Rolls with how many frames they have now, and the frames of one, for work that goes through all of them."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import func, not_, select

from archive.catalogue.database import transaction
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FrameRow, PairRow, RollRow
from archive.model.capture import Frame
from archive.model.identity import derived_key


@dataclass(frozen=True, kw_only=True)
class RollOfFrames:
    """One roll that has frames: its folder, how many, and a key that is another when they are others."""

    id: str
    folder: str
    frames: int
    key: str


def rolls_of_frames(catalogue: Catalogue) -> list[RollOfFrames]:
    """Every roll that has frames, in the order of their folders, which begin with the night."""
    counted = select(FrameRow.roll, func.count().label("frames")).group_by(FrameRow.roll).subquery()
    query = (
        select(RollRow.id, RollRow.folder, RollRow.entry, counted.c.frames)
        .join(counted, counted.c.roll == RollRow.id)
        .order_by(RollRow.folder)
    )
    # A roll's frames are its masters but for those that stand for another: told by the files that its entry
    # lists, by how many there are, and by which of them were taken out of a pair again.
    parted = (
        select(FrameRow.roll, func.sum(PairRow.counter))
        .join(PairRow, PairRow.companion == FrameRow.id)
        .where(not_(PairRow.counts))
        .group_by(FrameRow.roll)
    )
    with transaction(catalogue.engine) as session:
        apart = {roll: int(counters) for roll, counters in session.execute(parted)}
        return [
            RollOfFrames(
                id=row.id,
                folder=row.folder,
                frames=row.frames,
                key=derived_key("roll-frames", row.entry, row.frames, apart.get(row.id, 0)),
            )
            for row in session.execute(query)
        ]


def frames_of_roll(catalogue: Catalogue, roll: str) -> list[Frame]:
    """The frames of one roll, in the order of their paths."""
    query = FRAMES.where(FrameRow.roll == roll).order_by(FrameRow.path)
    with transaction(catalogue.engine) as session:
        return [frame_of_row(row) for row in session.execute(query)]
