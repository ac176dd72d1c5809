"""Frames read from rows, with the facts of their file or those that were corrected."""

from __future__ import annotations

from support.builders import camera, entry, frame_id, ingest, memory_catalogue, roll, roll_file, site

from archive.catalogue.database import transaction
from archive.catalogue.framerows import FRAMES, frame_of_row
from archive.catalogue.rows import FrameRow
from archive.model.capture import CaptureFacts, Frame, Role
from archive.model.entry import Change


def test_facts_come_from_the_file_until_they_are_corrected_and_may_be_none() -> None:
    catalogue = memory_catalogue()
    bare = roll_file(2, seconds=10)
    bare = type(bare)(**{f: getattr(bare, f) for f in bare.__dataclass_fields__} | {"facts": None})
    catalogue.apply([entry(camera(), site(), ingest(roll([roll_file(1, seconds=0), bare])), kind="ingest")])

    def read() -> list[Frame]:
        with transaction(catalogue.engine) as session:
            rows = session.execute(FRAMES.order_by(FrameRow.taken)).all()
        return [frame_of_row(row) for row in rows]

    first, second = read()
    assert (first.id, first.role, first.facts.iso, first.index) == (frame_id(1), Role.RAW, 3200, None)
    assert second.facts == CaptureFacts()
    said = Change(subjects=(frame_id(1),), layer="facts", value={"iso": 100})
    catalogue.apply([entry(said, kind="facts", counter=2)])
    assert (read()[0].facts.iso, read()[0].facts.f_number) == (100, 2.8)
