"""Files that are one exposure though they came in apart: a companion's digest stands for its frame.

A camera with two card slots writes the JPEG on one card and the raw file on the other. A pairing statement
says which file stands for which frame. It counts while that frame is held as a master and is itself paired
with no other; until then the companion is a frame of its own. What was stated about either is one matter.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace

from sqlalchemy import and_, or_, select

from archive.catalogue.affected import chunks
from archive.catalogue.database import transaction
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.index import Catalogue
from archive.catalogue.rows import FileRow, FrameRow
from archive.catalogue.standing_for import stand_for
from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.identity import FrameId

_PICTURES = (str(Role.RAW), str(Role.PICTURE))


def frames_now(catalogue: Catalogue, ids: Iterable[str]) -> dict[str, Frame]:
    """The frame that each id is now: itself, or the frame that a companion's digest stands for."""
    wanted = list(dict.fromkeys(ids))
    stands: dict[str, str] = {}
    with transaction(catalogue.engine) as session:
        for chunk in chunks(wanted):
            stands |= stand_for(session, chunk)
    known = catalogue.frames_by_id([stands.get(each, each) for each in wanted])
    return {each: known[stands.get(each, each)] for each in wanted if stands.get(each, each) in known}


def frames_as_made(catalogue: Catalogue, ids: Iterable[str]) -> dict[str, Frame]:
    """The frame under each id; a companion's is the very file of that digest, in its frame's place and time.

    What was made from a JPEG before its raw file came can so be made again from the same bytes.
    """
    wanted = list(dict.fromkeys(ids))
    found = catalogue.frames_by_id(wanted)
    missing = [each for each in wanted if each not in found]
    now = frames_now(catalogue, missing) if missing else {}
    with transaction(catalogue.engine) as session:
        for companion, frame in now.items():
            query = select(FileRow).where(FileRow.digest == companion, FileRow.role.in_(_PICTURES))
            row = session.scalars(query.order_by(FileRow.roll, FileRow.path)).first()
            if row is None:
                continue
            found[companion] = replace(
                frame,
                id=FrameId(companion),
                roll=row.roll,
                path=row.path,
                role=Role(row.role),
                facts=CaptureFacts.from_json(json.loads(row.facts)) if row.facts else CaptureFacts(),
            )
    return found


def frames_named(catalogue: Catalogue, camera: str, stems: Iterable[str]) -> list[Frame]:
    """The frames of a camera whose file names, without their endings, are among these."""
    found = []
    with transaction(catalogue.engine) as session:
        for chunk in chunks(sorted(set(stems)), 200):
            # Just behind the full stop comes the slash, which no name holds: a range that an index answers.
            ranges = [and_(FrameRow.name >= f"{stem}.", FrameRow.name < f"{stem}/") for stem in chunk]
            query = FRAMES.where(FrameRow.camera == camera, or_(*ranges)).order_by(FrameRow.id)
            found += [frame_of_row(row) for row in session.execute(query)]
    return found
