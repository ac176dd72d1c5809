"""Ordinary pictures as stored numbers."""

import io
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from archive.engine import picturefile
from archive.engine.picturefile import UndecodableError
from archive.formats.container import Kind

PIXELS = np.random.default_rng(2).integers(0, 255, (20, 30, 3)).astype(np.uint8)


def saved(form: str, pixels: Any = PIXELS, **options: Any) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, form, **options)
    return out.getvalue()


def tiff(pixels: Any, **options: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, **options)
    return out.getvalue()


def test_a_png_comes_back_exactly() -> None:
    facts, arrays = picturefile.read(saved("PNG"), Kind.PNG)
    assert np.array_equal(arrays[0], PIXELS)
    assert facts["layout"] == "picture"
    assert (facts["sensor"]["width"], facts["sensor"]["height"]) == (30, 20)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_exif_orientation_is_read_from_a_jpeg(orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    facts, _ = picturefile.read(saved("JPEG", exif=exif), Kind.JPEG)
    assert facts["orientation"] == orientation


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_tiffs_of_8_and_16_bits_come_back_exactly(kind: Any) -> None:
    pixels = (PIXELS.astype(np.uint32) * (1 if kind is np.uint8 else 257)).astype(kind)
    facts, arrays = picturefile.read(
        tiff(pixels, photometric="rgb", compression="zlib", extratags=[(274, 3, 1, 8, True)]), Kind.TIFF
    )
    assert np.array_equal(arrays[0], pixels)
    assert facts["orientation"] == 8
    assert arrays[1].shape == (3, 256 if kind is np.uint8 else 65536)


def test_grey_and_inverted_grey_become_three_channels() -> None:
    grey = PIXELS[:, :, 0].astype(np.uint16) * 200
    _, arrays = picturefile.read(tiff(grey, photometric="minisblack"), Kind.TIFF)
    assert np.array_equal(arrays[0], np.stack([grey] * 3, axis=-1))
    _, arrays = picturefile.read(tiff(grey, photometric="miniswhite"), Kind.TIFF)
    assert np.array_equal(arrays[0][:, :, 1], 65535 - grey)


def test_separate_planes_are_put_together() -> None:
    planes = np.moveaxis(PIXELS, -1, 0)
    _, arrays = picturefile.read(tiff(planes, photometric="rgb", planarconfig="separate"), Kind.TIFF)
    assert np.array_equal(arrays[0], PIXELS)


def test_a_profile_decides_the_matrix_and_none_means_srgb() -> None:
    _, arrays = picturefile.read(saved("JPEG"), Kind.JPEG)
    assert np.array_equal(arrays[2], np.eye(3))


def test_a_damaged_png_is_never_filled_up() -> None:
    whole = saved("PNG")
    with pytest.raises(UndecodableError) as caught:
        picturefile.read(whole[: len(whole) // 2], Kind.PNG)
    assert caught.value.damaged


def test_bytes_that_only_look_like_a_picture_are_damaged() -> None:
    for kind in (Kind.JPEG, Kind.TIFF, Kind.HEIF, Kind.PNG):
        with pytest.raises(UndecodableError):
            picturefile.read(b"\xff\xd8\xff" + bytes(100), kind)
