"""What people typed, found; what is ambiguous or wrong, told with what comes near."""

from __future__ import annotations

import pytest
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
    camera,
    entry,
    frame_id,
    ingest,
    memory_catalogue,
    roll,
    roll_file,
    sequence_roll,
    site,
)

from archive.catalogue.index import Catalogue
from archive.catalogue.resolve import find, find_one, find_sequence
from archive.errors import UsageError
from archive.model.capture import Role, RollFile
from archive.model.entry import Change


@pytest.fixture
def catalogue() -> Catalogue:
    found = memory_catalogue()
    twin = RollFile(
        path="100NOCTU/NOCT0001.JPG",
        size=3,
        digest=frame_id(500),
        role=Role.PICTURE,
        modified="2026-03-18T22:31:00.000+00:00",
        companion_of=frame_id(1),
    )
    north = roll([*sequence_roll(range(1, 7)).files, twin])
    south = roll([roll_file(1000, seconds=5)], token="00000002", camera_id=OTHER_CAMERA)
    same_name = RollFile(
        path="101NOCTU/NOCT1000.DNG",
        size=4,
        digest=frame_id(2000),
        role=Role.RAW,
        modified="2026-03-20T22:31:00.000+00:00",
    )
    later = roll([same_name], token="00000003", camera_id=OTHER_CAMERA)
    number = {"night": "2026-03-18", "camera": CAMERA, "number": 2}
    found.apply(
        [
            entry(
                site(),
                camera("north"),
                camera("south", OTHER_CAMERA),
                ingest(north),
                ingest(south),
                ingest(later),
                kind="ingest",
            ),
            entry(
                Change(subjects=(frame_id(1),), layer="sequence-number", value=number),
                kind="sequence",
                counter=2,
            ),
        ]
    )
    return found


def numbers(catalogue: Catalogue, text: str) -> list[str]:
    return [frame.name[4:8] for frame in find(catalogue, text).frames]


def test_nights_cameras_sequences_and_ranges_are_found_in_order(catalogue: Catalogue) -> None:
    assert numbers(catalogue, "2026-03-18") == ["0001", "1000", "0002", "0003", "0004", "0005", "0006"]
    assert numbers(catalogue, "2026-03-18/south") == ["1000"]
    assert numbers(catalogue, f"2026-03-18/{OTHER_CAMERA}") == ["1000"]
    assert numbers(catalogue, "2026-03-18/north/2") == [f"{n:04d}" for n in range(1, 7)]
    assert numbers(catalogue, "2026-03-18/north/2#4") == ["0004"]
    assert numbers(catalogue, "2026-03-18/north/2#2..3") == ["0002", "0003"]


@pytest.mark.parametrize(
    "text",
    ["NOCT0004.DNG", "NOCT0004", "noct0004.dng", "Noct0004", "NOCT0004.dng", frame_id(4), frame_id(4)[7:15]],
)
def test_a_frame_is_found_by_file_name_in_any_case_and_by_the_start_of_its_id(
    catalogue: Catalogue, text: str
) -> None:
    assert find_one(catalogue, text).id == frame_id(4)


def test_the_digest_of_a_companion_stands_for_its_frame(catalogue: Catalogue) -> None:
    assert find_one(catalogue, frame_id(500)).id == frame_id(1)


def test_a_name_that_several_frames_have_lists_them(catalogue: Catalogue) -> None:
    with pytest.raises(UsageError, match="NOCT1000 names 2 frames, one is needed") as caught:
        find_one(catalogue, "NOCT1000")
    for candidate in (frame_id(1000)[7:17], frame_id(2000)[7:17], "2026-03-18", "2026-03-20"):
        assert candidate in caught.value.hint


def test_a_sequence_where_one_frame_is_needed_lists_the_first_and_counts_the_rest(
    catalogue: Catalogue,
) -> None:
    with pytest.raises(UsageError, match="names 7 frames") as caught:
        find_one(catalogue, "2026-03-18")
    assert caught.value.hint.count(";") == 6


def test_a_sequence_is_found_whole_and_in_part_and_a_frame_is_none(catalogue: Catalogue) -> None:
    assert find_sequence(catalogue, "2026-03-18/north/2").number == 2
    assert find_sequence(catalogue, "2026-03-18/north/2#2..5").number == 2
    for text in ("2026-03-18/north/2#2", "2026-03-18/north", "NOCT0004"):
        with pytest.raises(UsageError, match="names no sequence"):
            find_sequence(catalogue, text)


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        ("2026-03-19", "There is no frame of 2026-03-19", "Nights held here: 2026-03-18, 2026-03-20"),
        ("2026-03-20/north", "There is no frame of", "Nights held here"),
        ("2026-03-18/east", "No camera is called east", "Cameras known here: north, south"),
        ("2026-03-18/north/1", "There is no sequence 2026-03-18/north/1", "2026-03-18/north/2"),
        ("2026-03-18/north/2#7", "asks for more frames than there are", "frames #1..6"),
        ("2026-03-18/north/2#5..9", "asks for more frames than there are", "frames #1..6"),
        ("NOCT9999.DNG", r"No frame matches NOCT9999\.DNG", "noctuary frames NIGHT"),
        ("0123456789", "No frame matches", "8 or more digits"),
        ("a\x1b[2J", r"No frame matches a\\x1b\[2J", "file name"),
    ],
)
def test_what_is_not_found_is_told_with_what_comes_near(
    catalogue: Catalogue, text: str, message: str, hint: str
) -> None:
    with pytest.raises(UsageError, match=message) as caught:
        find(catalogue, text)
    assert hint in caught.value.hint


def test_an_empty_archive_says_that_it_is_empty() -> None:
    with pytest.raises(UsageError) as caught:
        find(memory_catalogue(), "2026-03-18")
    assert "none yet" in caught.value.hint


def test_a_sequence_is_found_by_every_number_that_it_was_ever_given(catalogue: Catalogue) -> None:
    other = {"night": "2026-03-18", "camera": CAMERA, "number": 7}
    change = Change(subjects=(frame_id(1),), layer="sequence-number", value=other)
    catalogue.apply([entry(change, kind="sequence", counter=3, writer="c" * 32)])
    assert find_sequence(catalogue, "2026-03-18/north/7").number == 2
    assert numbers(catalogue, "2026-03-18/north/7#2..3") == ["0002", "0003"]
