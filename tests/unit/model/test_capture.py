"""Capture facts and selections, to JSON and back."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from support.builders import frame_id, selection

from archive.model.capture import CaptureFacts, Frame, Role, Selection
from archive.model.identity import FrameId, derived_key

FULL = CaptureFacts(
    taken="2026-03-18T23:30:15.04",
    taken_from="original",
    offset="+01:00",
    gps_utc="2026-03-18T22:30:15Z",
    exposure_s=8,
    f_number=2.8,
    iso=3200,
    focal_mm=20,
    make="Invented",
    model="One",
    serial="000417",
    lens="Wide",
    orientation=1,
    width=6000,
    height=4000,
    faults=("the digitized date is impossible",),
)


def test_full_facts_come_back_from_json() -> None:
    document = FULL.to_json()
    assert document["faults"] == ["the digitized date is impossible"]
    assert CaptureFacts.from_json(document) == FULL


def test_facts_that_are_not_known_are_not_written() -> None:
    assert CaptureFacts().to_json() == {}
    assert CaptureFacts.from_json({}) == CaptureFacts()


def test_a_fact_of_zero_is_a_fact() -> None:
    facts = CaptureFacts(iso=0, exposure_s=0.0)
    assert facts.to_json() == {"iso": 0, "exposure_s": 0.0}


def test_fields_of_a_later_release_are_passed_over() -> None:
    assert CaptureFacts.from_json({"iso": 100, "tint": "warm"}) == CaptureFacts(iso=100)


def test_a_frame_is_called_by_the_last_part_of_its_path() -> None:
    frame = Frame(
        id=frame_id(1),
        camera="camera:1",
        roll="7c1f9a2e",
        path="100NOCTU/NOCT0412.DNG",
        role=Role.RAW,
        taken=datetime(2026, 3, 18, tzinfo=UTC),
        time_source="offset",
        facts=CaptureFacts(),
        night="2026-03-18",
    )
    assert frame.name == "NOCT0412.DNG"


def test_a_selection_is_named_by_its_frames_and_their_times() -> None:
    chosen = Selection(frames=(frame_id(1), frame_id(2)), milliseconds=(0, 10_000))
    key = derived_key("selection", [[frame_id(1), 0], [frame_id(2), 10_000]])
    assert chosen.id == "selection:" + key
    assert Selection.from_json(chosen.to_json()) == chosen


@pytest.mark.parametrize(
    ("frames", "milliseconds"),
    [
        ((frame_id(2), frame_id(1)), (0, 10_000)),
        ((frame_id(1), frame_id(2)), (0, 10_001)),
        ((frame_id(1),), (0,)),
    ],
)
def test_another_order_time_or_length_is_another_selection(
    frames: tuple[FrameId, ...], milliseconds: tuple[int, ...]
) -> None:
    chosen = Selection(frames=(frame_id(1), frame_id(2)), milliseconds=(0, 10_000))
    assert Selection(frames=frames, milliseconds=milliseconds).id != chosen.id


@pytest.mark.parametrize(
    ("frames", "milliseconds", "message"),
    [
        ((), (), "at least one frame"),
        ((frame_id(1),), (0, 1), "one time for each frame"),
        ((frame_id(1), frame_id(1)), (0, 1), "each frame once"),
    ],
)
def test_a_selection_that_makes_no_sense_is_refused(
    frames: tuple[FrameId, ...], milliseconds: tuple[int, ...], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Selection(frames=frames, milliseconds=milliseconds)


def test_a_part_of_a_selection_counts_its_times_from_its_own_first_frame() -> None:
    whole = selection(1, 2, 3, 4)
    part = whole.part([frame_id(4), frame_id(2), frame_id(9)])
    assert (part.frames, part.milliseconds) == ((frame_id(2), frame_id(4)), (0, 20_000))
    assert whole.part(list(whole.frames)) is whole
    with pytest.raises(ValueError, match="at least one frame"):
        whole.part([])
