"""Pixels → files, read back by other means."""

import io
import struct
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from archive.engine import output
from archive.errors import ArchiveError

PIXELS = np.random.default_rng(8).integers(0, 256, (33, 47, 3)).astype(np.uint8)
DEEP = np.random.default_rng(9).integers(0, 65536, (130, 47, 3)).astype(np.uint16)
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF/></x:xmpmeta>'


def test_the_profile_is_a_valid_srgb_profile_of_fixed_bytes() -> None:
    profile = output.srgb_icc()
    assert profile == output.srgb_icc()
    assert struct.unpack(">I", profile[:4])[0] == len(profile)
    assert profile[24:36] == struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    assert "sRGB" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))


def test_a_jpeg_carries_pixels_profile_and_description() -> None:
    smooth = np.tile(np.linspace(20, 230, 64, dtype=np.uint8)[None, :, None], (48, 1, 3))
    data = output.encode_jpeg(smooth, quality=95, subsampling="4:4:4", xmp=XMP)
    with Image.open(io.BytesIO(data)) as read:
        assert read.info["icc_profile"] == output.srgb_icc()
        assert read.info["xmp"] == XMP
        assert np.abs(np.asarray(read).astype(int) - smooth).max() <= 3
    assert data == output.encode_jpeg(smooth, quality=95, subsampling="4:4:4", xmp=XMP)


def test_a_jpeg_of_pure_noise_is_no_trouble() -> None:
    noise = np.random.default_rng(10).integers(0, 256, (400, 600, 3)).astype(np.uint8)
    assert output.encode_jpeg(noise, quality=100, subsampling="4:4:4").endswith(b"\xff\xd9")


@pytest.mark.parametrize(("subsampling", "sampling"), [("4:4:4", 0x11), ("4:2:2", 0x21), ("4:2:0", 0x22)])
def test_subsampling_is_what_was_asked_for(subsampling: str, sampling: int) -> None:
    data = output.encode_jpeg(PIXELS, quality=90, subsampling=subsampling)
    place = data.index(b"\xff\xc0")
    assert data[place + 11] == sampling


@pytest.mark.parametrize(
    "options", [{"quality": 0}, {"quality": 101}, {"subsampling": "4:1:1"}, {"xmp": bytes(70000)}]
)
def test_impossible_jpegs_are_refused(options: dict[str, Any]) -> None:
    with pytest.raises(ArchiveError):
        output.encode_jpeg(PIXELS, **options)


@pytest.mark.parametrize("pixels", [PIXELS, DEEP])
@pytest.mark.parametrize("compress", [True, False])
def test_a_tiff_is_exact_and_carries_its_tags(pixels: Any, compress: bool) -> None:
    data = output.encode_tiff(pixels, xmp=XMP, compress=compress)
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page = file.pages[0]
        assert np.array_equal(page.asarray(), pixels)
        assert bytes(page.tags[700].value) == XMP
        assert bytes(page.tags[34675].value) == output.srgb_icc()
        assert 306 not in page.tags
    assert data == output.encode_tiff(pixels, xmp=XMP, compress=compress)


def test_a_png_is_exact_and_carries_its_description() -> None:
    data = output.encode_png(PIXELS, xmp=XMP)
    with Image.open(io.BytesIO(data)) as read:
        assert np.array_equal(np.asarray(read), PIXELS)
        assert read.info["icc_profile"] == output.srgb_icc()
        assert read.info["XML:com.adobe.xmp"] == XMP.decode()
    assert data == output.encode_png(PIXELS, xmp=XMP)


def test_pixels_of_the_wrong_kind_are_refused() -> None:
    deep: Any = DEEP
    flat: Any = PIXELS[:, :, 0]
    for call in (output.encode_jpeg, output.encode_png):
        with pytest.raises(ArchiveError, match="uint16"):
            call(deep)
        with pytest.raises(ArchiveError, match="shape"):
            call(flat)
