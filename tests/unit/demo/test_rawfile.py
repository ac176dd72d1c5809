"""Raw files read back by LibRaw, exifread and Pillow: readers that were not written here."""

from __future__ import annotations

import dataclasses
import io
from fractions import Fraction

import exifread
import numpy as np
import pytest
import rawpy
from PIL import Image

from archive.demo import extras, rawfile
from archive.demo.night import NORTH, RIVER
from archive.demo.rawfile import PATTERNS, Shot
from archive.demo.sensor import SRGB_TO_XYZ

SHOT = Shot(
    taken="2026:03:18 23:30:15",
    subsec="04",
    offset="+01:00",
    exposure_s=Fraction(8),
    f_number=Fraction(9, 5),
    iso=3200,
    noise=(1.28e-4, 1.5e-7),
)


def mosaic(width: int, height: int) -> np.ndarray:
    random = np.random.default_rng(width * 10000 + height)
    return random.integers(0, 1 << 14, (height, width)).astype(np.uint16)


def written(pixels: np.ndarray, **changes: object) -> bytes:
    body = dataclasses.replace(NORTH.body, **changes)
    preview = extras.jpeg(np.full((24, 32, 3), 90, np.uint8))
    return rawfile.dng(pixels, body, SHOT, preview, (32, 24))


@pytest.mark.parametrize(
    "size", [(34, 24), (64, 48), (96, 64), (258, 130), (512, 256), (770, 514), (1024, 50)]
)
@pytest.mark.parametrize("compressed", [False, True])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_libraw_reads_every_sample_of_the_mosaic(
    pattern: str, compressed: bool, size: tuple[int, int]
) -> None:
    pixels = mosaic(*size)
    data = written(pixels, pattern=pattern, compressed=compressed, white=16383)
    with rawpy.imread(io.BytesIO(data)) as raw:
        np.testing.assert_array_equal(raw.raw_image, pixels)
        colours = [raw.color_desc.decode()[index] for index in raw.raw_pattern.ravel()]
        assert "".join(colours) == pattern


@pytest.mark.parametrize("camera", [NORTH, RIVER], ids=["north", "river"])
def test_libraw_reads_black_white_neutral_matrix_and_orientation(camera: object) -> None:
    body = camera.body
    data = rawfile.dng(mosaic(96, 64), body, SHOT, extras.jpeg(np.zeros((24, 32, 3), np.uint8)), (32, 24))
    with rawpy.imread(io.BytesIO(data)) as raw:
        assert raw.black_level_per_channel == [body.black] * 4
        assert raw.white_level == body.white
        balance = np.array(raw.camera_whitebalance[:3])
        np.testing.assert_allclose(balance / balance[1], 1 / np.array(body.neutral), rtol=1e-4)
        camera_from_srgb = np.array(body.matrix).reshape(3, 3) @ SRGB_TO_XYZ
        camera_from_srgb /= camera_from_srgb.sum(axis=1, keepdims=True)
        # LibRaw keeps six digits of its own sRGB matrix.
        np.testing.assert_allclose(raw.color_matrix[:, :3], np.linalg.inv(camera_from_srgb), atol=2e-3)
        assert raw.sizes.flip == {1: 0, 8: 5}[body.orientation]


def test_exifread_reads_the_capture_facts() -> None:
    tags = exifread.process_file(io.BytesIO(written(mosaic(96, 64))))
    said = {key: str(value) for key, value in tags.items()}
    assert said["Image Make"] == "Kvelvane Optisk"
    assert said["Image Model"] == "Kvelvane K6"
    assert said["Image DateTime"] == "2026:03:18 23:30:15"
    assert said["EXIF DateTimeOriginal"] == "2026:03:18 23:30:15"
    assert said["EXIF DateTimeDigitized"] == "2026:03:18 23:30:15"
    assert said["EXIF SubSecTimeOriginal"] == "04"
    assert said["EXIF OffsetTimeOriginal"] == "+01:00"
    assert said["EXIF ExposureTime"] == "8"
    assert said["EXIF FNumber"] == "9/5"
    assert said["EXIF ISOSpeedRatings"] == "3200"
    assert said["EXIF FocalLength"] == "20"
    assert said["EXIF LensModel"] == "Kvelvane 20 mm f/1.8"
    assert said["EXIF BodySerialNumber"] == "KV600317"


def test_pillow_reads_the_preview_and_the_same_facts() -> None:
    with Image.open(io.BytesIO(written(mosaic(96, 64)))) as picture:
        assert picture.size == (32, 24)
        np.testing.assert_allclose(np.asarray(picture.convert("RGB")), 90, atol=2)
        exif = picture.getexif()
        inner = exif.get_ifd(0x8769)
        assert exif[0x0110] == "Kvelvane K6"
        assert inner[0x9003] == "2026:03:18 23:30:15"
        assert inner[0x9011] == "+01:00"
        assert float(inner[0x829A]) == 8.0
        assert float(inner[0x829D]) == pytest.approx(1.8)
        assert inner[0x8827] == 3200


def test_the_file_says_it_is_little_endian_dng_1_4_with_the_mosaic_in_a_sub_directory() -> None:
    data = written(mosaic(96, 64))
    assert data[:4] == b"II\x2a\x00"
    tags = exifread.process_file(io.BytesIO(data))
    assert tags["Image Tag 0xC612"].values == [1, 4, 0, 0]
    assert str(tags["EXIF SubIFD0 PhotometricInterpretation"]) == "32803"
    assert tags["EXIF SubIFD0 BlackLevel"].values == [1024] * 4


def test_the_same_pixels_and_facts_are_the_same_bytes() -> None:
    assert written(mosaic(96, 64), compressed=True) == written(mosaic(96, 64), compressed=True)


@pytest.mark.parametrize("size", [(95, 64), (96, 63), (0, 2)])
def test_an_odd_side_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="even sides"):
        written(mosaic(*size))


def test_a_compressed_mosaic_too_narrow_for_three_tiles_is_refused() -> None:
    with pytest.raises(ValueError, match="34 pixels"):
        written(mosaic(32, 32), compressed=True)
