"""Ordinary pictures as stored numbers."""

import importlib.util
import io
import struct
from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

from archive.engine import picturefile
from archive.engine.framing import upright
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


@pytest.mark.parametrize("stated", [0, 9, 255])
def test_orientations_that_exif_does_not_have_turn_nothing(stated: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = stated
    for data, kind in (
        (saved("JPEG", exif=exif.tobytes()), Kind.JPEG), (saved("PNG", exif=exif.tobytes()), Kind.PNG),
        (tiff(PIXELS, photometric="rgb", extratags=[(274, 3, 1, stated, True)]), Kind.TIFF),
        (heif(PIXELS, orientation=stated), Kind.HEIF),
    ):  # fmt: skip
        assert picturefile.read(data, kind)[0]["orientation"] == 1


def test_a_word_in_place_of_an_orientation_is_no_damage() -> None:
    data = tiff(PIXELS, photometric="rgb", extratags=[(274, 2, 8, "upright", True)])
    assert picturefile.read(data, Kind.TIFF)[0]["orientation"] == 1


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


def heif(pixels: Any, *, orientation: int = 1) -> bytes:
    """A HEIF without loss, which says its orientation twice, as cameras do: in the container and in EXIF."""
    mode = "RGB;16" if pixels.dtype == np.uint16 else "RGB"
    made = pillow_heif.from_bytes(mode, pixels.shape[1::-1], pixels.tobytes())
    exif = Image.Exif()
    exif[0x0112] = orientation
    out = io.BytesIO()
    # Matrix 0 stores red, green and blue themselves.
    made.save(out, quality=-1, chroma=444, matrix_coefficients=0, exif=exif.tobytes())
    return out.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_heif_is_turned_once(orientation: int) -> None:
    """Its decoder obeys the container's rotation; what callers know from EXIF must not turn it again."""
    data = heif(PIXELS, orientation=orientation)
    facts, arrays = picturefile.read(data, Kind.HEIF)
    assert facts["orientation"] == orientation
    assert np.array_equal(arrays[0], PIXELS)
    assert (facts["sensor"]["width"], facts["sensor"]["height"]) == (30, 20)


def test_a_heif_whose_container_and_exif_disagree_is_shown_as_the_container_says() -> None:
    data = bytearray(heif(PIXELS, orientation=6))
    place = data.index(b"irot") + 4
    assert data[place] == 3
    data[place] = 0
    facts, arrays = picturefile.read(bytes(data), Kind.HEIF)
    shown = upright(np.moveaxis(arrays[0], -1, 0), facts["orientation"])
    assert np.array_equal(np.moveaxis(shown, 0, -1), PIXELS)


def test_a_heif_of_10_bits_keeps_them() -> None:
    codes = np.arange(1024, dtype=np.uint16).reshape(32, 32)
    facts, arrays = picturefile.read(heif(np.stack([codes << 6] * 3, axis=-1)), Kind.HEIF)
    assert facts["sensor"]["bits"] == 10
    assert np.array_equal(arrays[0][..., 1], np.floor(codes * (65535 / 1023) + 0.5))
    assert arrays[1].shape == (3, 65536)
    light = arrays[1][0][arrays[0][..., 0]].ravel()
    assert (np.diff(light) > 0).all()
    assert light[-1] == 1


def bright_heif(signal: float, primaries: int, transfer: int) -> bytes:
    """Ten bits of one grey, with code points of ITU-T H.273."""
    grey = np.full((32, 32, 3), round(signal * 1023) << 6, np.uint16)
    out = io.BytesIO()
    pillow_heif.from_bytes("RGB;16", (32, 32), grey.tobytes()).save(
        out, quality=-1, chroma=444, full_range_flag=1, matrix_coefficients=0,
        color_primaries=primaries, transfer_characteristics=transfer,
    )  # fmt: skip
    return out.getvalue()


@pytest.mark.parametrize(
    ("transfer", "signal", "light"), [(16, 0.5807, 1.0), (18, 0.75, 1.0), (13, 0.5, 0.214)]
)
def test_bright_light_of_a_heif_is_read_as_it_states(transfer: int, signal: float, light: float) -> None:
    """Reference white in both ways of BT.2100 is 203 cd/m²: 58 % of PQ, 75 % of HLG (ITU-R BT.2408)."""
    _, arrays = picturefile.read(bright_heif(signal, 9, transfer), Kind.HEIF)
    assert arrays[1][1][arrays[0][16, 16, 1]] == pytest.approx(light, rel=0.02)
    assert arrays[2][0, 0] == pytest.approx(1.66, abs=0.01)


def test_bright_light_on_unknown_primaries_is_refused_by_number() -> None:
    with pytest.raises(UndecodableError, match="primaries 10") as caught:
        picturefile.read(bright_heif(0.5, 10, 16), Kind.HEIF)
    assert not caught.value.damaged


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_a_tiff_of_fewer_than_16_bits_fills_the_range(bits: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unpacking needs a codec that is not always there; that is said, and nobody gets a dark picture."""
    codes = (PIXELS[:, :, 0].astype(np.uint16) << (bits - 8)) | 1
    data = packed_tiff(codes, bits)
    if importlib.util.find_spec("imagecodecs") is None:
        with pytest.raises(UndecodableError, match=f"TIFF of {bits} packed bits is not supported") as caught:
            picturefile.read(data, Kind.TIFF)
        assert not caught.value.damaged
    monkeypatch.setattr(tifffile.TiffPage, "asarray", lambda _: codes)
    facts, arrays = picturefile.read(data, Kind.TIFF)
    assert facts["sensor"]["bits"] == bits
    assert np.array_equal(arrays[0][..., 2], np.floor(codes * (65535 / (2**bits - 1)) + 0.5))


def packed_tiff(codes: Any, bits: int) -> bytes:
    """A grey TIFF 6.0 of one strip, whose samples follow each other without gaps in each row."""
    height, width = codes.shape
    spread = (codes[:, :, None] >> np.arange(bits - 1, -1, -1)) & 1
    strip = np.packbits(spread.reshape(height, -1).astype(np.uint8), axis=1).tobytes()
    tags = [
        (256, width), (257, height), (258, bits), (259, 1), (262, 1), (273, 8), (277, 1), (278, height),
        (279, len(strip)),
    ]  # fmt: skip
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    directory = struct.pack("<H", len(tags)) + entries + bytes(4)
    return b"II*\0" + struct.pack("<I", 8 + len(strip)) + strip + directory


def test_bytes_that_only_look_like_a_picture_are_damaged() -> None:
    for kind in (Kind.JPEG, Kind.TIFF, Kind.HEIF, Kind.PNG):
        with pytest.raises(UndecodableError):
            picturefile.read(b"\xff\xd8\xff" + bytes(100), kind)


@pytest.mark.parametrize("kind", [np.float32, np.float16, np.float64, np.uint32, np.int16])
def test_a_tiff_of_other_samples_is_refused_by_name_and_not_called_damaged(kind: Any) -> None:
    with pytest.raises(UndecodableError, match=f"TIFF of {np.dtype(kind).name} samples") as caught:
        picturefile.read(tiff((PIXELS / 255).astype(kind), photometric="rgb"), Kind.TIFF)
    assert not caught.value.damaged


def test_no_address_of_an_object_is_told() -> None:
    for kind in (Kind.JPEG, Kind.TIFF, Kind.HEIF, Kind.PNG):
        with pytest.raises(UndecodableError) as caught:
            picturefile.read(b"\xff\xd8\xff" + bytes(100), kind)
        assert "0x" not in caught.value.reason and "<" not in caught.value.reason


@pytest.mark.parametrize("form", ["PNG", "JPEG", "TIFF", "HEIF"])
def test_a_pictures_size_is_known_before_it_is_decoded(form: str) -> None:
    data = heif(np.zeros((64, 96, 3), np.uint16)) if form == "HEIF" else saved(form)
    assert picturefile.declared(data, Kind(form.lower())) == (64 * 96 if form == "HEIF" else 600)
    assert picturefile.declared(data[:12], Kind(form.lower())) == 0


def test_more_pixels_than_any_camera_makes_are_damage_in_every_container(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Pillow itself would refuse only twice as many as it is told."""
    monkeypatch.setattr(picturefile, "_MAX_PIXELS", 500)
    for form in ("PNG", "JPEG", "TIFF"):
        with pytest.raises(UndecodableError, match="more pixels than any camera") as caught:
            picturefile.read(saved(form), Kind(form.lower()))
        assert caught.value.damaged
