"""The frames that lead up to one."""

from __future__ import annotations

from support.builders import CAMERA, camera, entry, frame_id, ingest, memory_catalogue, roll, roll_file, site

from archive.catalogue.index import Catalogue
from archive.catalogue.neighbours import frames_in, leading_to
from archive.model.entry import Change
from archive.nights.shots import LONGEST_GAP_S


def filled() -> Catalogue:
    """A run of six, two single pictures, a frame right behind; a day later another one."""
    steady = [roll_file(n, seconds=10 * n) for n in range(1, 7)]
    others = [roll_file(n, seconds=60 + 500 * (n - 6)) for n in (7, 8, 9)]
    late = roll_file(10, seconds=60 + 1500 + LONGEST_GAP_S + 1)
    bare = roll_file(11, seconds=70)
    bare = type(bare)(**{f: getattr(bare, f) for f in bare.__dataclass_fields__} | {"facts": None})
    value = {"night": "2026-03-18", "camera": CAMERA, "number": 1}
    catalogue = memory_catalogue()
    numbered = Change(subjects=(frame_id(1),), layer="sequence-number", value=value)
    catalogue.apply(
        [
            entry(camera(), site(), ingest(roll([*steady, *others, late, bare])), kind="ingest"),
            entry(numbered, kind="sequence", counter=2),
        ]
    )
    return catalogue


def led(number: int, *, over_singles: bool) -> list[str]:
    catalogue = filled()
    frame = catalogue.frames_by_id([frame_id(number)])[frame_id(number)]
    return [each.id for each in leading_to(catalogue, frame, over_singles=over_singles)]


def test_back_to_the_sequence_before_or_the_frame_alone() -> None:
    assert led(9, over_singles=True) == [frame_id(n) for n in (7, 8, 9)]
    assert led(9, over_singles=False) == [frame_id(9)]
    assert led(3, over_singles=False) == [frame_id(3)]


def test_nothing_leads_to_the_first_frame_nor_over_too_long_a_pause() -> None:
    assert led(1, over_singles=True) == []
    assert led(10, over_singles=True) == []
    assert led(10, over_singles=False) == []


def test_a_frame_whose_time_is_not_known_is_led_to_by_nothing() -> None:
    assert led(11, over_singles=True) == []


def test_frames_of_sequences_come_in_order_and_none_for_a_key_that_is_none() -> None:
    catalogue = filled()
    key = f"2026-03-18/{CAMERA}/1"
    found = frames_in(catalogue, [key, "x"])
    assert [frame.id for frame in found[key]] == [frame_id(n) for n in range(1, 7)]
    assert found["x"] == []
