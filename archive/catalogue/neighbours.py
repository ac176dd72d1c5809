"""Frames that belong beside each other: those of several sequences, and those that lead up to a frame."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from sqlalchemy import select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FrameRow
from archive.model.capture import Frame
from archive.nights.capture_time import TimeSource
from archive.nights.shots import LONGEST_GAP_S

_GAP = timedelta(seconds=LONGEST_GAP_S)
_PAGE = 500


def frames_in(catalogue: Catalogue, sequences: Sequence[str]) -> dict[str, list[Frame]]:
    """The frames of sequences, by their keys, in order; a statement for every few hundred of them."""
    found: dict[str, list[Frame]] = {key: [] for key in sequences}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(list(found)):
            query = FRAMES.where(FrameRow.sequence.in_(chunk)).order_by(FrameRow.sequence, FrameRow.position)
            for row in session.execute(query):
                found[row.sequence].append(frame_of_row(row))
    return found


def leading_to(catalogue: Catalogue, frame: Frame, *, over_singles: bool) -> list[Frame]:
    """This frame, and with ``over_singles`` those of its camera before it that are in no sequence, in order.

    Empty where no frame stands before the first of them, or only after too long a pause. Frames whose time
    is only their file's stand nowhere.
    """
    query = (
        select(FrameRow.id, FrameRow.taken, FrameRow.sequence)
        .where(FrameRow.camera == frame.camera, FrameRow.time_source != str(TimeSource.FILE))
        .where(FrameRow.taken <= frame.taken)
        .order_by(FrameRow.taken.desc(), FrameRow.path.desc(), FrameRow.id.desc())
    )
    found: list[str] = []
    reached = frame.taken
    with transaction(catalogue.engine) as session:
        # Read page by page on purpose: the walk mostly ends within the night.
        for row in session.execute(query.execution_options(yield_per=_PAGE)):
            if not found and row.id != frame.id:
                continue
            if found and (row.sequence is not None or not over_singles or reached - row.taken > _GAP):
                before = reached - row.taken <= _GAP
                break
            found.append(row.id)
            reached = row.taken
        else:
            before = False
    known = catalogue.frames_by_id(found) if before else {}
    return [known[each] for each in reversed(found) if each in known]
