"""Frames by whatever they were called, and by name."""

from __future__ import annotations

from dataclasses import replace

from support.builders import CAMERA, camera, entry, frame_id, ingest, memory_catalogue, roll, roll_file

from archive.catalogue.index import Catalogue
from archive.catalogue.pairs import frames_as_made, frames_named, frames_now
from archive.model.capture import Role
from archive.model.entry import PAIRING, Change


def paired() -> Catalogue:
    """A raw frame 1 and its JPEG 2, of two rolls, and a frame 3 of its own."""
    raw, other = roll_file(1, seconds=10), roll_file(3, seconds=30)
    jpeg = replace(roll_file(2, seconds=10), path="100NOCTU/NOCT0001.JPG", role=Role.PICTURE)
    change = Change(subjects=(frame_id(2),), layer=PAIRING, value={"frame": frame_id(1)})
    catalogue = memory_catalogue()
    catalogue.apply(
        [
            entry(camera(), kind="camera", counter=1),
            entry(ingest(roll([raw, other])), kind="ingest", counter=2),
            entry(ingest(roll([jpeg], token="00000002")), kind="ingest", counter=3),
            entry(change, kind="pairing", counter=4),
        ]
    )
    return catalogue


def test_a_companions_digest_gives_the_frame_it_is_now() -> None:
    found = frames_now(paired(), [frame_id(2), frame_id(1), frame_id(9), frame_id(2)])
    assert {asked: frame.id for asked, frame in found.items()} == {
        frame_id(2): frame_id(1),
        frame_id(1): frame_id(1),
    }


def test_what_was_made_of_a_companion_finds_the_very_file_in_its_frames_place() -> None:
    found = frames_as_made(paired(), [frame_id(2), frame_id(3), frame_id(9)])
    assert found.keys() == {frame_id(2), frame_id(3)}
    made = found[frame_id(2)]
    now = frames_now(paired(), [frame_id(2)])[frame_id(2)]
    assert (made.id, made.path, made.role) == (frame_id(2), "100NOCTU/NOCT0001.JPG", Role.PICTURE)
    assert (made.taken, made.night, made.roll) == (now.taken, now.night, "00000002")
    assert (now.id, now.roll) == (frame_id(1), "7c1f9a2e")


def test_frames_are_found_by_the_whole_of_their_stem() -> None:
    catalogue = paired()
    assert [frame.name for frame in frames_named(catalogue, CAMERA, ["NOCT0001", "NOCT000"])] == [
        "NOCT0001.DNG"
    ]
    assert frames_named(catalogue, CAMERA, []) == []
    assert frames_named(catalogue, "camera:0000000000000000", ["NOCT0001"]) == []
    many = [f"NOCT{number:04d}" for number in range(1000)]
    assert {frame.id for frame in frames_named(catalogue, CAMERA, many)} == {frame_id(1), frame_id(3)}
