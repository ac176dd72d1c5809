"""Rolls with their frames, for work that goes through all of them."""

from __future__ import annotations

from dataclasses import replace

from support.builders import camera, entry, frame_id, ingest, memory_catalogue, roll, roll_file

from archive.catalogue.backlog import frames_of_roll, rolls_of_frames
from archive.catalogue.index import Catalogue
from archive.model.capture import Role
from archive.model.entry import PAIRING, Change

RAWS, JPEGS = "00000001", "00000002"


def two_slots() -> Catalogue:
    """Raw frames 1 and 2 in one roll, their JPEGs 3 and 4 in another; nothing is paired yet."""
    raws = [roll_file(number, seconds=10 * number) for number in (2, 1)]
    jpegs = [
        replace(roll_file(number, seconds=10 * number), path=f"NOCT{number:04d}.JPG", role=Role.PICTURE)
        for number in (3, 4)
    ]
    catalogue = memory_catalogue()
    rolls = [ingest(roll(raws, token=RAWS)), ingest(roll(jpegs, token=JPEGS))]
    catalogue.apply(
        [
            entry(camera(), kind="camera", counter=1),
            *(entry(each, kind="ingest", counter=at) for at, each in enumerate(rolls, 2)),
        ]
    )
    return catalogue


def pair(catalogue: Catalogue, counter: int, companion: int, frame: int | None) -> None:
    value = None if frame is None else {"frame": frame_id(frame)}
    change = Change(subjects=(frame_id(companion),), layer=PAIRING, value=value)
    catalogue.apply([entry(change, kind="pairing", counter=counter)])


def keys(catalogue: Catalogue) -> dict[str, str]:
    return {each.id: each.key for each in rolls_of_frames(catalogue)}


def test_rolls_come_by_folder_and_their_frames_by_path() -> None:
    catalogue = two_slots()
    held = rolls_of_frames(catalogue)
    assert [(each.id, each.frames) for each in held] == [(RAWS, 2), (JPEGS, 2)]
    assert [each.folder for each in held] == sorted(each.folder for each in held)
    assert [frame.id for frame in frames_of_roll(catalogue, RAWS)] == [frame_id(1), frame_id(2)]


def test_a_roll_without_frames_of_its_own_is_left_out() -> None:
    catalogue = two_slots()
    pair(catalogue, 5, companion=3, frame=1)
    pair(catalogue, 6, companion=4, frame=2)
    assert keys(catalogue).keys() == {RAWS}


def test_the_key_is_another_where_as_many_frames_are_others() -> None:
    catalogue = two_slots()
    pair(catalogue, 5, companion=3, frame=1)
    before = keys(catalogue)
    # One JPEG becomes a frame again, the other stops to be one.
    pair(catalogue, 6, companion=3, frame=None)
    pair(catalogue, 7, companion=4, frame=2)
    after = keys(catalogue)
    assert [frame.id for frame in frames_of_roll(catalogue, JPEGS)] == [frame_id(3)]
    assert (after[RAWS], after[JPEGS] != before[JPEGS]) == (before[RAWS], True)
