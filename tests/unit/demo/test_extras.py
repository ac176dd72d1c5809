"""What else lies on cards, opened by readers that were not written here."""

from __future__ import annotations

import io
import wave
from datetime import UTC, datetime
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import exifread
import numpy as np
from PIL import Image

from archive.demo import extras, rawfile
from archive.demo.night import NORTH, RIVER
from archive.demo.rawfile import Shot

SHOT = Shot(
    taken="2026:03:18 23:30:15",
    subsec="04",
    offset="+01:00",
    exposure_s=Fraction(8),
    f_number=Fraction(9, 5),
    iso=3200,
    noise=(1.28e-4, 1.5e-7),
)


def test_a_twin_shows_its_raw_file_upright_and_says_the_same_time() -> None:
    body = RIVER.body
    mosaic = np.full((64, 96), 4000, np.uint16)
    mosaic[:, 48:] = 9000
    raw = rawfile.dng(mosaic, body, SHOT, extras.jpeg(np.zeros((24, 32, 3), np.uint8)), (32, 24))
    data = extras.twin(raw, body, SHOT)
    with Image.open(io.BytesIO(data)) as picture:
        assert picture.size == (64, 96)  # orientation 8: stored lying, developed standing
        pixels = np.asarray(picture.convert("L")).astype(int)
        assert pixels[:40].mean() > pixels[56:].mean() + 20  # the stored right side is on top
    said = {key: str(value) for key, value in exifread.process_file(io.BytesIO(data)).items()}
    assert said["EXIF DateTimeOriginal"] == SHOT.taken
    assert said["EXIF SubSecTimeOriginal"] == "04"
    assert said["EXIF OffsetTimeOriginal"] == "+01:00"
    assert said["EXIF ExposureTime"] == "8"
    assert said["EXIF FNumber"] == "9/5"
    assert said["EXIF ISOSpeedRatings"] == "3200"
    assert said["Image Orientation"] == "Horizontal (normal)"
    assert said["EXIF BodySerialNumber"] == body.serial


def test_a_sound_note_is_pcm_that_can_be_heard_and_does_not_clip() -> None:
    with wave.open(io.BytesIO(extras.sound_note(1.5, 3))) as note:
        assert (note.getnchannels(), note.getsampwidth(), note.getframerate()) == (1, 2, 8000)
        samples = np.frombuffer(note.readframes(note.getnframes()), "<i2").astype(float)
    assert len(samples) == 12000
    assert 300 < samples.std() < 12000
    assert np.abs(samples).max() < 32767


def test_a_clip_is_h264_that_plays_its_pictures_for_its_time(tmp_path: Path) -> None:
    pictures = [np.full((64, 48, 3), level, np.uint8) for level in (40, 200)]
    path = tmp_path / "ORML0005.MOV"
    extras.clip(path, pictures, datetime(2026, 3, 18, 21, 40, tzinfo=UTC), frames=30)
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert (stream.width, stream.height) == (48, 64)
        frames = [frame.to_ndarray(format="rgb24").mean() for frame in container.decode(stream)]
        assert container.metadata["creation_time"].startswith("2026-03-18T21:40:00")
        assert float(container.duration) / 1e6 == 30 / 24
    assert len(frames) == 30
    assert abs(frames[0] - 40) < 6 and abs(frames[-1] - 200) < 6
    assert all(b >= a - 1 for a, b in pairwise(frames))


def test_a_clip_has_the_same_bytes_every_time(tmp_path: Path) -> None:
    random = np.random.default_rng(4)
    pictures = [random.integers(0, 255, (64, 96, 3)).astype(np.uint8) for _ in range(3)]
    for name in ("a.MOV", "b.MOV"):
        extras.clip(tmp_path / name, pictures, datetime(2026, 3, 18, 21, 40, tzinfo=UTC))
    assert (tmp_path / "a.MOV").read_bytes() == (tmp_path / "b.MOV").read_bytes()


def test_litter_begins_as_the_real_thing_does() -> None:
    assert extras.desktop_store()[4:8] == b"Bud1"
    assert extras.resource_fork()[:4] == bytes.fromhex("00051607")  # AppleDouble magic, RFC 1740
    assert extras.volume_marker("81-20455").decode("utf-16-le").count("-") == 4
    index = extras.housekeeping(NORTH.body, "KVEL0412", "KVEL0510").decode("ascii")
    assert "SERIAL=KV600317\r\n" in index
