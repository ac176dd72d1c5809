"""What was said and done about frames stands beside them, whatever comes first."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from support.builders import (
    camera,
    delivered,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    sequence_roll,
    site,
)

from archive.catalogue.affected import Affected
from archive.catalogue.database import transaction
from archive.catalogue.index import Catalogue
from archive.catalogue.marks import marks_of, said_last, tell_marks
from archive.catalogue.rows import FrameKeywordRow, FrameRow
from archive.exports.specs import specs
from archive.model.entry import Change


def word(number: int, line: str, on: bool) -> Change:
    return Change(subjects=(frame_id(number),), layer="keyword", line=line, value=on)


TAKEN_IN = entry(camera(), site(), ingest(sequence_roll(range(1, 4))), kind="ingest")
SAID = entry(rating(1, 4), word(1, "arc", True), word(2, "arc", True), word(2, "ice", True), counter=2)
TAKEN_BACK = entry(rating(1, 2), word(2, "arc", False), counter=3)
DEVELOPED = entry(own(2, exposure(0.5)), kind="recipe", counter=4)
PAIRED = entry(
    Change(subjects=(frame_id(2),), layer="pairing", value={"frame": frame_id(3)}), kind="pairing", counter=5
)
EXPORTED = entry(
    Change(subjects=("job:1",), layer="delivered", line="1", value=delivered(spec=specs()[0].to_json())),
    kind="job-delivered",
    counter=6,
)


def marks(catalogue: Catalogue) -> dict[str, Any]:
    with transaction(catalogue.engine) as session:
        columns = (FrameRow.id, FrameRow.rating, FrameRow.developed, FrameRow.exported)
        found: dict[str, Any] = {row[0]: [*row[1:]] for row in session.execute(select(*columns))}
        words = select(FrameKeywordRow.frame, FrameKeywordRow.word).order_by(FrameKeywordRow.word)
        for frame, word in session.execute(words):
            found[frame].append(word)
    return found


def test_the_last_word_counts_in_any_order_and_a_companion_s_is_its_frame_s() -> None:
    told = [TAKEN_IN, SAID, TAKEN_BACK, PAIRED]
    for some in (told, told[::-1], [*told[2:], *told[:2]], [told[3], *told[:3]]):
        catalogue = memory_catalogue()
        for each in (*some, DEVELOPED, EXPORTED):
            catalogue.apply([each])
        assert marks(catalogue) == {
            frame_id(1): [2, False, True, "arc"],
            frame_id(3): [0, True, False, "ice"],
        }


def test_what_is_said_of_a_frame_that_nobody_holds_waits_for_it() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([SAID])
    assert marks(catalogue) == {}
    with transaction(catalogue.engine) as session:
        affected = Affected(marked={frame_id(1)})
        tell_marks(session, affected)
        assert affected.nights == set()


def test_marks_are_answered_for_a_query_as_for_a_list() -> None:
    catalogue = memory_catalogue()
    catalogue.apply([TAKEN_IN, SAID, DEVELOPED])
    with transaction(catalogue.engine) as session:
        listed = marks_of(session, [frame_id(1), frame_id(2)], {})
        assert listed == marks_of(session, select(FrameRow.id), {})
        assert listed.columns(frame_id(2)) == {"rating": 0, "developed": True, "exported": False}
        assert listed.word_rows([frame_id(2), frame_id(3)]) == [
            {"frame": frame_id(2), "word": "arc"},
            {"frame": frame_id(2), "word": "ice"},
        ]
        assert said_last(session, "rating", [frame_id(1)], {}) == {(frame_id(1), ""): 4}
