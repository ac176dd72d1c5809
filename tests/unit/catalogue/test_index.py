"""Recording and finding: what goes in as model objects comes out as model objects."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import event
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
    STARTED,
    camera,
    entry,
    entry_id,
    frame_id,
    ingest,
    memory_catalogue,
    rating,
    roll,
    roll_file,
    sequence_roll,
    site,
)

from archive.catalogue.index import Catalogue
from archive.model.capture import Role, RollFile
from archive.model.entry import Change
from archive.model.listing import Copy

SOUND = RollFile(
    path="100NOCTU/NOCT0001.WAV",
    size=3,
    digest=frame_id(500),
    role=Role.SOUND,
    modified="2026-03-18T22:31:00.000+00:00",
    companion_of=frame_id(1),
)


@pytest.fixture
def catalogue() -> Catalogue:
    """Two cameras in one night, one of them with a sequence of eight; a single frame the night after."""
    found = memory_catalogue()
    north = sequence_roll(range(1, 9))
    south = roll(
        [roll_file(30, seconds=50), roll_file(31, seconds=86_400)], token="00000002", camera_id=OTHER_CAMERA
    )
    number = {"night": "2026-03-18", "camera": CAMERA, "number": 1}
    found.apply(
        [
            entry(
                site(),
                camera("north"),
                camera("south", OTHER_CAMERA),
                ingest(roll([*north.files, SOUND])),
                ingest(south),
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


def test_nights_are_told_in_order_with_site_cameras_and_counts(catalogue: Catalogue) -> None:
    first, second = catalogue.nights()
    assert (first.night, first.site, first.cameras) == ("2026-03-18", "River bend", ("north", "south"))
    assert (first.frames, first.sequences) == (9, 1)
    assert (first.first, first.last) == (STARTED, STARTED + timedelta(seconds=70))
    assert (second.night, second.cameras, second.frames, second.sequences) == ("2026-03-19", ("south",), 1, 0)


def test_sequences_are_told_by_night_and_camera(catalogue: Catalogue) -> None:
    (line,) = catalogue.sequences()
    assert (line.address, line.camera, line.number, line.frames) == ("2026-03-18/north/1", "north", 1, 8)
    assert line.span_s == 80
    assert catalogue.sequences("2026-03-18", CAMERA) == [line]
    assert catalogue.sequences("2026-03-19") == []
    assert catalogue.sequences(camera=OTHER_CAMERA) == []


def test_frames_are_found_by_every_part_of_their_place(catalogue: Catalogue) -> None:
    def numbers(**by: object) -> list[str]:
        return [frame.name[4:8] for frame in catalogue.frames(**by)]  # type: ignore[arg-type]

    key = catalogue.sequences()[0].key
    assert numbers(night="2026-03-19") == ["0031"]
    assert numbers(camera=OTHER_CAMERA) == ["0030", "0031"]
    assert numbers(sequence=key, between=(3, 5)) == ["0003", "0004", "0005"]
    assert numbers(name="NOCT0007.DNG") == ["0007"]
    assert numbers(name="NOCT0007") == ["0007"]
    assert numbers(name="NOCT000") == []
    assert numbers(name="NOCT____") == []
    assert numbers(id_start=frame_id(5)[:15]) == ["0005"]
    assert numbers(id_start="xxh128:%") == []
    assert numbers(night="2026-03-18", limit=2) == ["0001", "0002"]


def test_frames_come_in_the_order_they_were_taken(catalogue: Catalogue) -> None:
    taken = [frame.taken for frame in catalogue.frames()]
    assert taken == sorted(taken)
    assert len(taken) == 10


def test_frames_are_found_by_id_however_many_are_asked_for(catalogue: Catalogue) -> None:
    asked = [frame_id(number) for number in range(2000)]
    assert set(catalogue.frames_by_id(asked)) == {frame.id for frame in catalogue.frames()}
    assert catalogue.frames_by_id([]) == {}


def test_companions_belong_to_their_frame_and_are_found_by_their_bytes(catalogue: Catalogue) -> None:
    assert catalogue.companions(frame_id(1)) == [("100NOCTU/NOCT0001.WAV", "sound")]
    assert catalogue.companions(frame_id(2)) == []
    assert catalogue.files_by_digest(frame_id(500)) == [("7c1f9a2e", "100NOCTU/NOCT0001.WAV", frame_id(1))]


def test_what_a_volume_holds_is_remembered_replaced_and_forgotten(catalogue: Catalogue) -> None:
    folder = "2026-03-18/north-7c1f9a2e"
    a, b = ("a.DNG", frame_id(1), 10), ("b.DNG", frame_id(2), 20)
    catalogue.hold("v1", [(folder, "sha256:1", [a, b])])
    catalogue.hold("v2", [(folder, "sha256:1", [a]), ("2026-03-19/north-7c1f9a2e", None, [])])
    assert catalogue.copies(frame_id(1)) == [
        Copy(volume="v1", path=f"{folder}/a.DNG"),
        Copy(volume="v2", path=f"{folder}/a.DNG"),
    ]
    assert catalogue.held_sizes() == {10: {frame_id(1)}, 20: {frame_id(2)}}
    assert catalogue.chains("v1") == {folder: "sha256:1"}
    catalogue.hold("v1", [(folder, "sha256:2", [b])])
    assert [copy.volume for copy in catalogue.copies(frame_id(1))] == ["v2"]
    assert catalogue.chains("v1") == {folder: "sha256:2"}
    assert catalogue.chains("v2") == {folder: "sha256:1"}
    catalogue.hold("v1", [(folder, None, [])])
    assert (catalogue.chains("v1"), catalogue.copies(frame_id(2))) == ({}, [])


def test_values_about_many_subjects_are_found_together(catalogue: Catalogue) -> None:
    catalogue.apply([entry(rating(1, 5), rating(2, -1), counter=3)])
    asked = [frame_id(number) for number in range(1200)]
    assert catalogue.stated_about(asked, "rating") == {(frame_id(1), ""): 5, (frame_id(2), ""): -1}


def test_faults_are_cleared_by_place(catalogue: Catalogue) -> None:
    catalogue.record_fault("journal", "a", "one")
    catalogue.record_fault("v1", "b", "two")
    catalogue.record_fault("v1", "b", "three")
    catalogue.clear_faults("journal")
    assert [(fault.name, fault.message) for fault in catalogue.faults()] == [("b", "three")]


def test_what_is_noted_of_a_place_gives_way_to_what_is_noted_next() -> None:
    catalogue = memory_catalogue()
    catalogue.note("journal-noticed", [("a", "one"), ("b", "two"), ("b", "three")])
    catalogue.record_fault("v1", "a" * 500, "long")
    catalogue.note("journal-noticed", [("c", "four")])
    assert [(f.place, f.name, f.message) for f in catalogue.faults()] == [
        ("journal-noticed", "c", "four"),
        ("v1", "a" * 400, "long"),
    ]


def test_links_say_where_each_entry_stands_in_its_chain() -> None:
    catalogue = memory_catalogue()
    made = entry(rating(1, 1), counter=2, previous=entry_id(1))
    catalogue.apply([made])
    (link,) = catalogue.links()
    assert (link.id, link.name, link.writer, link.previous, link.time) == (
        made.id,
        made.name,
        made.writer,
        entry_id(1),
        made.time,
    )


def test_clearing_keeps_what_volumes_held_that_are_not_mounted() -> None:
    catalogue = memory_catalogue()
    for volume in ("here", "away"):
        catalogue.hold(volume, [("2026-03-18/north-7c1f9a2e", "state", [("a.DNG", frame_id(1), 7)])])
    catalogue.clear(volumes=["here"])
    assert [copy.volume for copy in catalogue.copies(frame_id(1))] == ["away"]
    assert catalogue.chains("here") == {}
    assert catalogue.chains("away") == {"2026-03-18/north-7c1f9a2e": "state"}


def test_a_cleared_catalogue_is_as_empty_as_a_new_one(catalogue: Catalogue) -> None:
    catalogue.clear(volumes=[copy.volume for copy in catalogue.copies(frame_id(1))])
    assert catalogue.dump() == memory_catalogue().dump()
    assert set(catalogue.counts().values()) == {0}


def test_names_of_entries_are_known_after_they_were_applied(catalogue: Catalogue) -> None:
    told = entry(rating(1, 5), counter=3)
    assert told.name not in catalogue.known_entries()
    catalogue.apply([told])
    assert told.name in catalogue.known_entries()


def test_the_number_of_statements_of_a_listing_does_not_grow_with_the_night(catalogue: Catalogue) -> None:
    counted: list[str] = []
    event.listen(
        catalogue.engine, "before_cursor_execute", lambda c, cur, statement, *rest: counted.append(statement)
    )
    catalogue.nights()
    catalogue.sequences()
    catalogue.frames(night="2026-03-18")
    before = len(counted)
    more = roll([roll_file(100 + n, seconds=4000 + 10 * n) for n in range(300)], token="00000003")
    catalogue.apply([entry(ingest(more), kind="ingest", counter=5)])
    counted.clear()
    catalogue.nights()
    catalogue.sequences()
    catalogue.frames(night="2026-03-18")
    assert len(counted) == before <= 8
