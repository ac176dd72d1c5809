"""Pictures that are not all there, noticed from their headers."""

import io
import struct
from pathlib import Path

import pytest
from PIL import Image
from support.samples import SAMPLES, needs_samples
from support.tinydng import night_mosaic, tiny_dng

from archive.ingest.wholeness import damage
from archive.model.capture import Role


def told(path: Path, role: Role = Role.RAW) -> str | None:
    with path.open("rb") as stream:
        return damage(stream, role)


def jpeg(side: int) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((side, side), 90).save(out, "JPEG", quality=95)
    return out.getvalue()


def tiff(tmp_path: Path) -> Path:
    path = tmp_path / "a.tif"
    Image.new("RGB", (200, 100), (9, 30, 90)).save(path)
    return path


@pytest.mark.parametrize("side", [120, 1800], ids=["small, walked", "large, only its end looked at"])
def test_a_jpeg_without_its_end_is_noticed_and_a_whole_one_is_not(tmp_path: Path, side: int) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg(side))
    assert told(path, Role.PICTURE) is None
    path.write_bytes(jpeg(side)[:-1000])
    assert told(path, Role.PICTURE) == "its picture data has no end: the file was cut"


def test_card_padding_behind_a_jpeg_is_no_damage(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg(1800) + bytes(16_757))
    assert told(path, Role.PICTURE) is None


def test_the_bytes_that_a_tiff_lacks_are_counted(tmp_path: Path) -> None:
    path = tiff(tmp_path)
    assert told(path, Role.PICTURE) is None
    data = path.read_bytes()
    (directory,) = struct.unpack_from("<I", data, 4)
    if directory < 1000:
        path.write_bytes(data[:-77])
        assert told(path, Role.PICTURE) == "its picture data ends 77 bytes short: the file was cut"
    else:
        path.write_bytes(data[:directory])
        assert told(path, Role.PICTURE) == "its picture data ends 2 bytes short: the file was cut"


def test_boxes_that_claim_more_than_there_is_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "a.cr3"
    path.write_bytes(
        struct.pack(">I4s4s4s", 16, b"ftyp", b"crx ", bytes(4)) + struct.pack(">I4s", 900, b"mdat")
    )
    assert told(path) == "its picture data ends 892 bytes short: the file was cut"


def test_a_raw_of_unknown_make_and_few_bytes_is_noticed_and_an_empty_mapping_does_no_harm(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.mrw"
    path.write_bytes(b"\0MRM" + bytes(2592))
    assert told(path) == "2596 bytes are too few for a raw picture: the file was cut"
    path.write_bytes(b"")
    assert told(path) is None


@needs_samples
@pytest.mark.samples
def test_real_camera_files_are_whole_and_the_broken_ones_are_not() -> None:
    assert SAMPLES is not None
    for folder, role in (("raw", Role.RAW), ("jpeg", Role.PICTURE), ("sequence", Role.PICTURE)):
        for path in sorted((SAMPLES / folder).rglob("*")):
            if path.is_file() and path.suffix.lower() not in (".thm", ".mov"):
                picture = path.suffix.lower() in (".jpg", ".tiff")
                assert told(path, Role.PICTURE if picture else role) is None, path.name
    for name in ("ARW.exif", "Panasonic.rw2", "canon-r6.cr3", "sample.arw", "sample.cr2", "fixture.cr3"):
        assert told(SAMPLES / "broken" / name), name


def dng(tmp_path: Path) -> Path:
    path = tmp_path / "a.dng"
    path.write_bytes(tiny_dng(night_mosaic(240, 360)))
    return path


def test_a_header_that_its_medium_does_not_give_is_no_verdict(tmp_path: Path) -> None:
    class Bad(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(5, "Input/output error")

    assert damage(Bad(dng(tmp_path).read_bytes()), Role.RAW) is None


def test_a_file_cut_after_it_was_opened_ends_no_program(tmp_path: Path) -> None:
    """Where the file were mapped, the system would end the process here."""
    for path, role in ((dng(tmp_path), Role.RAW), (tiff(tmp_path), Role.PICTURE)):
        with path.open("rb") as stream:
            assert damage(stream, role) is None
        with path.open("rb") as stream:
            path.write_bytes(path.read_bytes()[:6])
            found = damage(stream, role)
            assert found is None or "the file was cut" in found


def test_a_raw_cut_in_its_picture_data_is_still_measured(tmp_path: Path) -> None:
    path = dng(tmp_path)
    path.write_bytes(path.read_bytes()[:-1234])
    assert told(path) == "its picture data ends 1234 bytes short: the file was cut"
