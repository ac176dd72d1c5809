"""What bytes are, and whether their picture data is all there."""

import io
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image
from support.samples import sample
from support.tinydng import night_mosaic, tiny_dng

from archive.formats import container
from archive.formats.container import Kind


def jpeg(*, progressive: bool = False) -> bytes:
    out = io.BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (64, 80, 3)).astype(np.uint8)
    Image.fromarray(noise).save(out, "JPEG", progressive=progressive)
    return out.getvalue()


def tiff() -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, np.zeros((8, 9, 3), np.uint16), photometric="rgb")
    return out.getvalue()


def test_kinds_are_told_by_content() -> None:
    assert container.kind_of(jpeg()) is Kind.JPEG
    assert container.kind_of(tiff()) is Kind.TIFF
    assert container.kind_of(tiny_dng(night_mosaic(32, 48))) is Kind.RAW
    assert container.kind_of(b"\0\0\0\x18ftypheic" + bytes(16)) is Kind.HEIF
    assert container.kind_of(b"\0\0\0\x18ftypcrx " + bytes(16)) is Kind.RAW
    assert container.kind_of(b"plain text, no picture at all, and long enough") is None
    assert container.kind_of(b"") is None


def ftyp(*brands: bytes, size: int | None = None) -> bytes:
    """The first box of ISO/IEC 14496-12: main brand, version, brands that it is compatible with."""
    body = b"ftyp" + brands[0] + bytes(4) + b"".join(brands[1:])
    return struct.pack(">I", len(body) + 4 if size is None else size) + body


@pytest.mark.parametrize(
    "brands", [(b"qt  ", b"qt  "), (b"mp41", b"mp41"), (b"isom", b"iso2", b"avc1", b"mp41"), (b"qt  ",)]
)
def test_movies_are_no_pictures_though_their_container_is_that_of_heif(brands: tuple[bytes, ...]) -> None:
    assert container.kind_of(ftyp(*brands) + struct.pack(">I4s", 16, b"mdat") + b"mif1heic") is None


@pytest.mark.parametrize("size", [None, 0, 1])
def test_pictures_are_told_by_any_brand_and_by_the_main_one_alone(size: int | None) -> None:
    """A size of 0 or 1 means that it stands elsewhere."""
    assert container.kind_of(ftyp(b"heic", size=size)) is Kind.HEIF
    assert container.kind_of(ftyp(b"abcd", b"mif1", b"miaf")) is Kind.HEIF


@pytest.mark.parametrize("cut", [1, 100, 3000])
def test_a_cut_dng_is_short_by_exactly_what_was_cut(cut: int) -> None:
    whole = tiny_dng(night_mosaic(64, 96))
    assert container.completeness(whole, Kind.RAW) == container.Completeness(known=True)
    assert container.completeness(whole[:-cut], Kind.RAW).missing == cut


@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_ends_only_at_its_own_end_marker(progressive: bool) -> None:
    whole = jpeg(progressive=progressive)
    assert container.jpeg_ends(whole)
    assert container.jpeg_ends(whole + bytes(1000))
    for length in (2, 20, len(whole) // 2, len(whole) - 2, len(whole) - 1):
        assert not container.jpeg_ends(whole[:length])


def test_an_end_marker_inside_a_thumbnail_is_not_the_pictures_end() -> None:
    whole = jpeg()
    nested = whole[:2] + b"\xff\xe1" + struct.pack(">H", len(whole) + 2) + whole + whole[2:200]
    assert not container.jpeg_ends(nested)


def test_directories_that_point_in_circles_end() -> None:
    loop = b"II*\0\x08\0\0\0" + struct.pack("<HHHII", 1, 330, 4, 1, 8) + struct.pack("<I", 8)
    directories = container.tiff_directories(loop)
    assert directories is not None
    assert len(directories) == 1


def test_counts_beyond_belief_are_left_out() -> None:
    entry = struct.pack("<HHII", 273, 4, 0xFFFFFFFF, 8)
    directories = container.tiff_directories(b"II*\0\x08\0\0\0" + struct.pack("<H", 1) + entry + bytes(4))
    assert directories is not None
    assert directories[0].tags == {}


@pytest.mark.samples
@pytest.mark.parametrize(
    ("name", "missing"),
    [
        ("broken/ARW.exif", 1310720 + 16163840 - 1293760),
        ("broken/Panasonic.rw2", 12322 + 20511792 - 12344),
        ("raw/colorchart.dng", 0),
        ("raw/kodak-dc120/P003908.KDC", 0),
        ("raw/kodak-dc50/DC0010S.KDC", 0),
    ],
)
def test_real_files_of_the_tiff_family_are_measured(name: str, missing: int) -> None:
    data = sample(name).read_bytes()
    assert container.kind_of(data) is Kind.RAW
    assert container.completeness(data, Kind.RAW) == container.Completeness(known=True, missing=missing)


@pytest.mark.samples
def test_a_plain_tiff_is_not_taken_for_a_raw() -> None:
    name = "sequence/star-field-tiff/2019-07-29T204726_Alt40_Azi45_Try1.tiff"
    assert container.kind_of(sample(name).read_bytes()) is Kind.TIFF
