"""Where a card's files go."""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta
from pathlib import Path

import pytest
from support.cards import BEGIN, SITE, jpeg, put, tiny_card, wav

from archive.errors import UsageError
from archive.formats.incoming import PlannedRoll
from archive.ingest.card import read_card, with_pairs
from archive.ingest.placing import Known, body_of, camera_key, cameras_on, place
from archive.model.capture import Camera, CaptureFacts
from archive.model.place import ClockCorrection, Site

NAME, LATITUDE, LONGITUDE, ELEVATION, ZONE = SITE
PLACE = Site(
    id="site:river-bend", name=NAME, latitude=LATITUDE, longitude=LONGITUDE, elevation_m=ELEVATION, zone=ZONE
)


def placed(
    card: Path,
    *,
    known: dict[str, Camera] | None = None,
    clocks: tuple[ClockCorrection, ...] = (),
    taken_in: Collection[str] = (),
) -> list[PlannedRoll]:
    files = with_pairs(read_card(card).files)
    cameras = (known or {}) | cameras_on(files, known or {}, None)
    knowledge = Known(cameras=cameras, clocks=lambda _camera: list(clocks), site=PLACE)
    return place(files, knowledge, card="A07", taken_in=taken_in)


def test_one_camera_and_night_is_one_roll_below_its_night(tmp_path: Path) -> None:
    (roll,) = placed(tiny_card(tmp_path, 3))
    assert roll.folder == f"2026-03-18/one-{roll.id}"
    assert (roll.night, roll.site, roll.card) == ("2026-03-18", "site:river-bend", "A07")
    assert [file.path for file in roll.files] == [f"100NOCTU/NOCT000{n}.JPG" for n in (1, 2, 3)]
    assert [file.source for file in roll.files] == [f"DCIM/100NOCTU/NOCT000{n}.JPG" for n in (1, 2, 3)]


def test_several_cameras_and_nights_become_a_roll_each(tmp_path: Path) -> None:
    tiny_card(tmp_path, 2)
    tiny_card(tmp_path, 2, begin=BEGIN + timedelta(days=1), first=10)
    tiny_card(tmp_path, 2, serial="000999", folder="DCIM/101NOCTU", first=20)
    rolls = placed(tmp_path)
    assert sorted((roll.night, len(roll.files)) for roll in rolls) == [
        ("2026-03-18", 2),
        ("2026-03-18", 2),
        ("2026-03-19", 2),
    ]
    assert sorted({roll.folder.split("/")[1].rpartition("-")[0] for roll in rolls}) == ["one", "one-2"]


def test_midnight_does_not_part_a_night_and_local_noon_does(tmp_path: Path) -> None:
    times = [BEGIN + timedelta(hours=hours) for hours in (1, 3, 13, 15)]
    for number, taken in enumerate(times):
        put(tmp_path, f"DCIM/100/A{number:04d}.JPG", jpeg(number, taken=taken), modified=taken)
    assert [(r.night, len(r.files)) for r in placed(tmp_path)] == [("2026-03-18", 3), ("2026-03-19", 1)]


def test_a_companion_goes_where_its_master_goes_and_a_stray_where_the_frame_before_it_went(
    tmp_path: Path,
) -> None:
    late = BEGIN + timedelta(days=3)
    put(tmp_path, "DCIM/100/A0001.JPG", jpeg(1, taken=BEGIN), modified=BEGIN)
    put(tmp_path, "DCIM/100/A0001.WAV", wav(), modified=late)
    put(tmp_path, "DCIM/100/A0001X.CTG", b"index", modified=late)
    (roll,) = placed(tmp_path)
    assert roll.night == "2026-03-18"
    companions = {file.path: file.companion_of for file in roll.files}
    assert companions["100/A0001.WAV"] == "DCIM/100/A0001.JPG"
    assert companions["100/A0001X.CTG"] is None


def test_a_known_clock_error_decides_the_night(tmp_path: Path) -> None:
    tiny_card(tmp_path, 1)
    reads = PLACE.to_utc(BEGIN)
    wrong_by_a_day = ClockCorrection(reads=reads, true=reads + timedelta(days=1))
    assert [roll.night for roll in placed(tmp_path, clocks=(wrong_by_a_day,))] == ["2026-03-19"]


def test_what_an_unfinished_ingest_placed_is_not_placed_again(tmp_path: Path) -> None:
    tiny_card(tmp_path, 3)
    (roll,) = placed(tmp_path)
    (rest,) = placed(tmp_path, taken_in={file.source for file in roll.files[:2]})
    assert [file.path for file in rest.files] == ["100NOCTU/NOCT0003.JPG"]


def test_files_that_say_no_camera_get_a_name_all_the_same(tmp_path: Path) -> None:
    put(tmp_path, "scan.bin", b"just bytes")
    (roll,) = placed(tmp_path)
    assert roll.camera == camera_key("", "", "")
    assert roll.folder.startswith("2026-03-18/unknown-")


@pytest.mark.parametrize("serial", ["", "0000", "00", "12", None])
def test_serials_that_say_nothing_are_none(serial: str | None) -> None:
    assert body_of(CaptureFacts(make="Invented", model="One", serial=serial)) == ("Invented", "One", "")


def test_a_short_name_is_given_to_the_one_new_camera(tmp_path: Path) -> None:
    files = with_pairs(read_card(tiny_card(tmp_path, 1)).files)
    (camera,) = cameras_on(files, {}, "Ice North!").values()
    assert (camera.name, camera.model) == ("ice-north", "One")


def test_a_short_name_for_two_new_cameras_is_refused(tmp_path: Path) -> None:
    tiny_card(tmp_path, 1)
    tiny_card(tmp_path, 1, serial="000999", folder="DCIM/101NOCTU")
    files = with_pairs(read_card(tmp_path).files)
    with pytest.raises(UsageError, match="2 cameras"):
        cameras_on(files, {}, "north")


def test_a_short_name_in_use_is_refused(tmp_path: Path) -> None:
    files = with_pairs(read_card(tiny_card(tmp_path, 1)).files)
    other = Camera(id="camera:0", name="north", make="", model="", serial="")
    with pytest.raises(UsageError, match="north"):
        cameras_on(files, {other.id: other}, "north")


@pytest.mark.parametrize("seconds", [-(2**33), 2**40, 2**33])
def test_a_file_time_out_of_all_calendars_is_placed_all_the_same(tmp_path: Path, seconds: int) -> None:
    import os

    path = put(tmp_path, "A0001.JPG", jpeg(1))
    try:
        os.utime(path, (seconds, seconds))
    except OverflowError:
        pytest.skip("this file system holds no such time")
    (roll,) = placed(tmp_path)
    assert len(roll.files) == 1


def test_a_raw_that_does_not_say_its_camera_goes_with_its_companion(tmp_path: Path) -> None:
    from support.exif_bytes import tiff

    raw = tiff({254: 1, 330: 8}, exif={0x9003: "2026:03:18 22:00:00"})
    put(tmp_path, "DCIM/100/A0001.DNG", raw)
    put(tmp_path, "DCIM/100/A0001.JPG", jpeg(1, taken=BEGIN))
    (roll,) = placed(tmp_path)
    assert roll.camera == camera_key("Invented", "One", "000417")
    assert len(roll.files) == 2
