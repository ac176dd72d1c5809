"""Whole cards: what lies on them, that every reader agrees, and that they are the same every time."""

from __future__ import annotations

import hashlib
import os
import re
from datetime import datetime, timedelta
from pathlib import Path

import exifread
import numpy as np
import pytest
import rawpy
from PIL import Image

from archive.demo import cards
from archive.demo.cards import DemoNight, capture_times, scene_light, write_cards
from archive.demo.sensor import camera_matrix
from archive.errors import ArchiveError, UsageError

SIZE, FRAMES = (96, 64), 8
# CIPA DC-009-2010 (DCF 2.0): directories nnnAAAAA, files AAAAnnnn.
DCF = re.compile(r"DCIM/[1-9]\d{2}[0-9A-Z_]{5}/[0-9A-Z_]{4}(?!0000)\d{4}\.(DNG|JPG|WAV|MOV)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cards")


@pytest.fixture(scope="module")
def demo(folder: Path) -> DemoNight:
    return write_cards(folder, size=SIZE, frames=FRAMES)


def tree(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_every_file_in_dcim_is_named_by_dcf_or_is_litter(demo: DemoNight) -> None:
    for card in demo.cards:
        for path in card.folder.glob("DCIM/*/*"):
            name = path.relative_to(card.folder).as_posix()
            assert DCF.fullmatch(name) or path.name.startswith("._")


def test_the_cards_carry_all_that_cards_carry(demo: DemoNight) -> None:
    north, river = demo.cards
    assert (north.frames, north.sequence_frames, north.test_frames) == (FRAMES + 3, FRAMES, 3)
    assert (river.frames, river.sequence_frames, river.test_frames) == (FRAMES + 2, FRAMES, 2)
    for card in demo.cards:
        raw = [path.relative_to(card.folder).as_posix() for path in card.folder.rglob("*.DNG")]
        assert sorted(name for name in raw if "/._" not in name) == sorted(card.files)
    assert north.twin in {name.replace("DNG", "JPG") for name in north.files}
    assert north.sound in {name.replace("DNG", "WAV") for name in north.files}
    for card, names in (
        (north, [north.twin, north.sound, "MISC/KVELV.CTG", ".DS_Store"]),
        (river, [river.clip, "MISC/ORMLS.CTG", "System Volume Information/IndexerVolumeGuid"]),
    ):
        for name in names:
            assert (card.folder / name).stat().st_size > 0
    assert list(north.folder.glob("DCIM/*/._*.DNG"))


def test_every_raw_file_opens_and_says_what_the_night_says(demo: DemoNight) -> None:
    for card in demo.cards:
        for name, reads in zip(card.files, card.reads, strict=True):
            path = card.folder / name
            with rawpy.imread(str(path)) as raw:
                assert raw.raw_image.shape == (SIZE[1], SIZE[0])
            with path.open("rb") as file:
                tags = exifread.process_file(file)
            assert str(tags["EXIF DateTimeOriginal"]) == reads.strftime("%Y:%m:%d %H:%M:%S")
            assert str(tags["EXIF OffsetTimeOriginal"]) == "+01:00"
            assert str(tags["Image Model"]) == card.camera
            assert str(tags["EXIF BodySerialNumber"]) == card.serial


def test_the_mosaic_in_a_file_is_the_one_the_sensor_made(demo: DemoNight) -> None:
    for number, card in enumerate(demo.cards):
        plan = cards.night.CAMERAS[number]
        studio = cards._Studio(plan, 20260318, SIZE, FRAMES)
        exposure = studio.exposures[6]
        made = studio.sensor.expose(
            studio.light(exposure),
            exposure_s=exposure.settings.exposure_s,
            f_number=exposure.settings.f_number,
            iso=exposure.settings.iso,
            frame=exposure.number,
            seed=20260318,
        )
        with rawpy.imread(str(card.folder / card.files[6])) as raw:
            np.testing.assert_array_equal(raw.raw_image, made)


def test_the_slow_clock_is_off_by_what_the_photographed_clock_shows(demo: DemoNight) -> None:
    reads, true = (datetime.fromisoformat(moment) for moment in demo.clock_photo)
    assert true - reads == timedelta(seconds=demo.clock_error_s) == timedelta(seconds=72)
    river = demo.cards[1]
    assert river.camera == demo.slow_camera
    assert river.reads[river.files.index(demo.clock_frame)] == reads
    offsets = {
        moment.astimezone(cards.night.SITE.to_local(moment).tzinfo).replace(tzinfo=None) - read
        for moment, read in zip(river.true, river.reads, strict=True)
    }
    assert offsets == {timedelta(seconds=72)}


def test_count_times_cadence_is_the_span_and_the_gap_is_where_it_is_said_to_be(demo: DemoNight) -> None:
    for card in demo.cards:
        times = card.true[card.test_frames :]
        steps = np.diff([moment.timestamp() for moment in times])
        assert times[-1] - times[0] == timedelta(seconds=card.cadence_s * card.sequence_frames)
        assert steps[card.missed_after] == 2 * card.cadence_s
        assert sorted(steps)[:-1] == [card.cadence_s] * (card.sequence_frames - 2)
        assert card.true == capture_times(card.name, frames=FRAMES)


def test_the_twin_is_of_its_raw_file_and_its_moment(demo: DemoNight) -> None:
    north = demo.cards[0]
    with Image.open(north.folder / north.twin) as twin:
        assert twin.size == SIZE
        taken = twin.getexif().get_ifd(0x8769)[0x9003]
        pixels = np.asarray(twin.convert("RGB")).astype(float)
    index = north.files.index(north.twin.replace("JPG", "DNG"))
    assert taken == north.reads[index].strftime("%Y:%m:%d %H:%M:%S")
    with rawpy.imread(str(north.folder / north.files[index])) as raw:
        developed = raw.postprocess(use_camera_wb=True, no_auto_bright=True).astype(float)
    assert np.abs(pixels - developed).mean() < 5


def test_files_bear_the_time_of_their_capture(demo: DemoNight) -> None:
    for card in demo.cards:
        for name, true in zip(card.files, card.true, strict=True):
            written = (card.folder / name).stat().st_mtime
            assert 0 < written - (true.timestamp() - card.clock_slow_s) <= 20


def test_scene_light_is_what_the_pixels_measure(demo: DemoNight) -> None:
    north = demo.cards[0]
    light = scene_light("north", 7, size=SIZE, frames=FRAMES)
    assert light.shape == (64, 96, 3) and light.dtype == np.float32
    with rawpy.imread(str(north.folder / north.files[7])) as raw:
        green = (raw.raw_image[0::2, 1::2].astype(float) - 1024) / (15871 - 1024)
    wanted = light[0::2, 1::2] @ camera_matrix(cards.night.NORTH.body)[1].astype(np.float32)
    # Near the middle the lens darkens by less than 3 %.
    middle = (slice(10, 22), slice(18, 30))
    assert np.median(green[middle] / wanted[middle]) == pytest.approx(1.0, abs=0.04)
    assert np.corrcoef(green[middle].ravel(), wanted[middle].ravel())[0, 1] > 0.8


def test_the_same_request_gives_the_same_bytes_whatever_the_threads(
    demo: DemoNight, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    write_cards(tmp_path, size=SIZE, frames=FRAMES)
    assert tree(tmp_path) == tree(folder)


def test_another_seed_gives_other_pictures_under_the_same_names(
    demo: DemoNight, folder: Path, tmp_path: Path
) -> None:
    write_cards(tmp_path, size=SIZE, frames=FRAMES, seed=7)
    ours, others = tree(folder), tree(tmp_path)
    assert ours.keys() == others.keys()
    assert all(ours[name] != others[name] for name in ours if name.endswith(".DNG") and "/._" not in name)


def test_progress_counts_every_raw_file_once(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    write_cards(tmp_path, size=SIZE, frames=5, progress=lambda done, of: told.append((done, of)))
    assert told == [(number, 15) for number in range(1, 16)]


@pytest.mark.parametrize("size", [(95, 64), (96, 63), (32, 24), (64, 96)])
def test_a_size_that_cannot_be_made_is_refused_and_nothing_is_written(
    size: tuple[int, int], tmp_path: Path
) -> None:
    with pytest.raises(UsageError, match="cannot be made"):
        write_cards(tmp_path, size=size, frames=8)
    assert not list(tmp_path.iterdir())


def test_too_few_frames_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="4 frames"):
        write_cards(tmp_path, size=SIZE, frames=4)


def test_a_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "card-river").mkdir()
    with pytest.raises(ArchiveError, match="exists already"):
        write_cards(tmp_path, size=SIZE, frames=8)
    assert [path.name for path in tmp_path.iterdir()] == ["card-river"]
