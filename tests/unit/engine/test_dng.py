"""Our own reading of DNGs: LibRaw's to the bit, or none."""

import io
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import rawpy
from PIL import Image
from support.dngs import STEEP, dng
from support.samples import sample
from support.tinydng import night_mosaic

from archive.demo import cards
from archive.demo import night as night_plans
from archive.demo import rawfile as writer
from archive.demo.rawfile import Shot
from archive.engine import rawfile
from archive.engine.dng import iso_speed, layout_of, samples

PLAIN: dict[str, dict[str, Any]] = {
    "16 bits": {},
    "16 bits, big-endian": {"order": ">"},
    "strips": {"strip_rows": 20},
    "strips, big-endian": {"strip_rows": 20, "order": ">"},
    "tiles": {"tile": (48, 32)},
    "8 bits": {"bits": 8},
    "10 bits": {"bits": 10, "order": ">"},
    "12 bits in strips": {"bits": 12, "strip_rows": 7},
    "14 bits in tiles": {"bits": 14, "tile": (48, 32)},
    "margins": {"margins": (2, 4, 6, 8)},
    "odd margins": {"margins": (3, 5, 2, 4)},
    "levels by place": {"black": (500, 510, 520, 530)},
    "green first": {"pattern": (1, 2, 0, 1)},
    "blue first": {"pattern": (2, 1, 1, 0), "margins": (1, 0, 0, 1)},
}
PACKED: dict[str, dict[str, Any]] = {
    "one strip": {},
    "tiles": {"tile": (48, 32)},
    "tiles, big-endian": {"tile": (48, 32), "order": ">"},
    "one component": {"components": 1},
    "four components": {"components": 4},
    "predictor 6": {"predictor": 6, "tile": (48, 32)},
    "predictor 7": {"predictor": 7, "components": 1},
    "two rows in one": {"fold": 2, "tile": (48, 32)},
    "long codes": {"code": STEEP, "tile": (48, 32)},
}
# LibRaw 0.22 opens these without complaint and puts samples in wrong places; the standards leave no doubt.
MISREAD: dict[str, dict[str, Any]] = {
    "several strips": {"strip_rows": 40},
    "two tiles a row": {"tile": (80, 48)},
    "a tile wider than the mosaic": {"tile": (176, 112)},
}


def by_libraw(data: bytes) -> npt.NDArray[np.uint16]:
    with rawpy.RawPy() as raw:
        raw.open_buffer(io.BytesIO(data))
        raw.unpack()
        return np.array(raw.raw_image)


def by_us(data: bytes) -> npt.NDArray[np.uint16] | None:
    layout = layout_of(data)
    return None if layout is None else samples(data, layout)


def night(bits: int = 14, height: int = 96, width: int = 160) -> npt.NDArray[np.uint16]:
    return (night_mosaic(height, width, seed=4) >> max(14 - bits, 0)).astype(np.uint16)


def answers_agree(data: bytes) -> bool:
    layout = layout_of(data)
    assert layout is not None and not layout.misread
    own = rawfile.read_own(data, layout)
    usual = rawfile.read(data, measured=True)
    assert own is not None
    return own[0] == usual[0] and np.array_equal(own[1][0], usual[1][0])


@pytest.mark.parametrize("name", PLAIN)
def test_uncompressed_layouts_are_libraws_to_the_bit(name: str) -> None:
    mosaic = night(PLAIN[name].get("bits", 14))
    data = dng(mosaic, **PLAIN[name])
    assert np.array_equal(by_us(data), mosaic)
    assert np.array_equal(by_libraw(data), mosaic)
    assert answers_agree(data)


@pytest.mark.parametrize("name", PACKED)
def test_compressed_layouts_are_libraws_to_the_bit(name: str) -> None:
    mosaic = night()
    data = dng(mosaic, bits=14, compressed=True, **PACKED[name])
    assert np.array_equal(by_us(data), mosaic)
    assert np.array_equal(by_libraw(data), mosaic)
    assert answers_agree(data)


def test_sixteen_compressed_bits_that_wrap_round_come_back_exactly() -> None:
    mosaic = np.random.default_rng(1).integers(0, 65536, (32, 160)).astype(np.uint16)
    data = dng(mosaic, bits=16, compressed=True, tile=(48, 16), white=65535)
    assert np.array_equal(by_us(data), mosaic)
    assert np.array_equal(by_libraw(data), mosaic)


def test_odd_sizes_are_libraws_to_the_bit() -> None:
    mosaic = night(14, 97, 163)
    for data in (dng(mosaic), dng(mosaic >> 2, bits=12), dng(mosaic, bits=14, compressed=True, components=1)):
        assert np.array_equal(by_us(data), by_libraw(data))
        assert answers_agree(data)


@pytest.mark.parametrize("name", MISREAD)
def test_what_libraw_misreads_is_read_right(name: str) -> None:
    mosaic = night()
    data = dng(mosaic, bits=14, compressed=True, **MISREAD[name])
    layout = layout_of(data)
    assert layout is not None and layout.misread
    assert np.array_equal(by_us(data), mosaic)
    # Of several strips LibRaw decodes what lies in its memory, which now and then is right.
    assert name == "several strips" or not np.array_equal(by_libraw(data), mosaic)


@pytest.mark.parametrize(
    "changes",
    [
        {"extra": ((50712, 3, list(range(256))),)},
        {"extra": ((50830, 4, [0, 0, 96, 4]),)},
        {"extra": ((50711, 3, [2]),)},
        {"extra": ((317, 3, [2]),)},
        {"version": (1, 0, 0, 0)},
        {"pattern": (0, 0, 1, 2)},
        {"pattern": (1, 1, 0, 2)},
    ],
)
def test_what_is_unusual_is_left_to_libraw(changes: dict[str, Any]) -> None:
    assert layout_of(dng(night(), **changes)) is None


def test_what_is_no_dng_is_left_to_libraw() -> None:
    whole = dng(night())
    for data in (b"", b"II*\0", b"II*\0\xff\xff\xff\xff", whole[:100], whole[:-1], whole[:8] + bytes(200)):
        assert layout_of(data) is None


def test_a_directory_that_leads_to_itself_is_left_to_libraw() -> None:
    whole = bytearray(dng(night()))
    count = int.from_bytes(whole[8:10], "little")
    whole[10 + 12 * count : 14 + 12 * count] = (8).to_bytes(4, "little")
    assert layout_of(bytes(whole)) is None


def test_damaged_streams_give_libraws_samples_or_none() -> None:
    """Every flipped byte: either the same samples as LibRaw's, or a doubt that sends the file to LibRaw."""
    whole = dng(night(14, 32, 48), bits=14, compressed=True)
    random = np.random.default_rng(7)
    doubts = 0
    for place in random.integers(whole.index(b"\xff\xd8\xff\xc3"), len(whole) - 2, 300):
        data = bytearray(whole)
        data[place] ^= int(random.integers(1, 256))
        found = by_us(bytes(data))
        doubts += found is None
        if found is not None:
            assert np.array_equal(found, by_libraw(bytes(data)))
    assert doubts > 20


@pytest.mark.samples
def test_a_real_packed_raw_is_libraws_to_the_bit() -> None:
    assert answers_agree(sample("raw/colorchart.dng").read_bytes())


@pytest.mark.parametrize("plan", night_plans.CAMERAS, ids=lambda plan: plan.body.model)
def test_the_demos_raws_are_libraws_to_the_bit(plan: Any) -> None:
    mosaic = np.random.default_rng(5).integers(0, 1 << 14, (130, 258)).astype(np.uint16)
    shot = Shot(
        taken="2026:03:18 23:30:15", subsec="04", offset="+01:00", exposure_s=Fraction(8),
        f_number=Fraction(9, 5), iso=3200, noise=(1.28e-4, 1.5e-7),
    )  # fmt: skip
    out = io.BytesIO()
    Image.new("RGB", (32, 24)).save(out, "JPEG")
    data = writer.dng(mosaic, plan.body, shot, out.getvalue(), (32, 24))
    assert np.array_equal(by_us(data), mosaic)
    assert answers_agree(data)


def test_the_speed_is_read_without_unpacking_the_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    class Unpacking(rawpy.RawPy):  # type: ignore[misc]
        @property
        def other(self) -> None:
            raise AssertionError("LibRaw unpacks the whole picture before it answers this")

    data = next(iter(cards.raw_files("north", [40], size=(192, 128))))
    told, _ = rawfile.read(data, measured=True)
    layout = layout_of(data)
    assert layout is not None and iso_speed(data, layout) == told["iso"] > 0
    monkeypatch.setattr(rawpy, "RawPy", Unpacking)
    own = rawfile.read_own(data, layout)
    assert own is not None and own[0] == told


def test_without_a_plain_speed_libraw_is_asked() -> None:
    data = dng(night_mosaic(96, 160))
    layout = layout_of(data)
    assert layout is not None and iso_speed(data, layout) is None
    own = rawfile.read_own(data, layout)
    assert own is not None and own[0] == rawfile.read(data, measured=True)[0]
