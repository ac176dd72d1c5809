"""Raws through LibRaw."""

import io
import os
import struct
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import rawpy
from support.dngs import SIX_BY_SIX, dng, restated, unusual_dng
from support.samples import sample
from support.tinydng import BLACK, COLOUR_MATRIX, NEUTRAL, WHITE, night_mosaic, tiny_dng

from archive.engine import colour, rawfile
from archive.engine import dng as dng_reader
from archive.engine.picturefile import UndecodableError

RAWS = ["raw/canon-powershot-g2/CRW_0313.CRW", "raw/colorchart.dng", "raw/kodak-dc120/P003908.KDC",
        "raw/kodak-dc50/DC0010S.KDC"]  # fmt: skip


@pytest.mark.parametrize("pattern", [(0, 1, 1, 2), (1, 0, 2, 1), (1, 2, 0, 1), (2, 1, 1, 0)])
def test_a_mosaic_comes_back_exactly_with_its_pattern_and_levels(pattern: tuple[int, int, int, int]) -> None:
    mosaic = night_mosaic(64, 96)
    facts, arrays = rawfile.read(tiny_dng(mosaic, pattern=pattern), measured=True)
    assert np.array_equal(arrays[0], mosaic)
    assert tuple(facts["pattern"]) == pattern
    assert facts["black"] == [BLACK] * 4
    assert facts["white"] == WHITE


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_orientation_is_told_in_exifs_numbers(orientation: int) -> None:
    facts, arrays = rawfile.read(tiny_dng(night_mosaic(64, 96), orientation=orientation), measured=True)
    assert facts["orientation"] == orientation
    assert arrays[0].shape == (64, 96)


@pytest.mark.parametrize("stated", [0, 9, 14, 255, 65535])
def test_orientations_that_exif_does_not_have_turn_nothing(stated: int) -> None:
    """LibRaw looks at their last three bits, and takes 0 for a quarter turn."""
    mosaic = night_mosaic(64, 96)
    bayer = tiny_dng(mosaic, orientation=stated)
    assert rawfile.read(bayer, measured=True)[0]["orientation"] == 1
    assert rawfile.read(unusual_dng(mosaic, orientation=stated), measured=True)[0]["orientation"] == 1
    layout = dng_reader.layout_of(bayer)
    own = rawfile.read_own(bayer, layout) if layout else None
    assert own is not None and own[0]["orientation"] == 1


INNER = {
    "boxes": b"ftypcrx " + bytes(60) + b"CMT1",
    "a preview": b"FUJIFILMCCD-RAW" + bytes(99) + b"Exif\0\0",
    "blocks": b"\0MRM" + bytes(40) + b"\0TTW\0\0\1\0",
}


@pytest.mark.parametrize("head", INNER.values(), ids=INNER)
def test_raws_of_other_containers_are_asked_for_what_they_state_too(head: bytes) -> None:
    """Where it lies is from memory of these containers; LibRaw's flip 5 stands for 0 and for 8."""
    for stated, turned in ((0, 1), (8, 8), (200, 1)):
        tags = struct.pack("<2sHIHHHIIHHI", b"II", 42, 8, 1, 274, 3, 1, stated, 0, 0, 0)
        assert rawfile._orientation(head + tags + bytes(100), 5) == turned


def test_the_matrix_and_multipliers_are_those_of_the_file() -> None:
    facts, _ = rawfile.read(tiny_dng(night_mosaic(64, 96)), measured=True)
    from_srgb = np.array(COLOUR_MATRIX) @ colour.SRGB_TO_XYZ
    daylight = 1 / from_srgb.sum(axis=1)
    assert np.allclose(facts["camera"]["daylight"], daylight / daylight.min(), rtol=1e-3)
    assert np.allclose(facts["camera"]["to_srgb"], np.linalg.inv(from_srgb * daylight[:, None]), atol=2e-3)
    assert np.allclose(facts["camera"]["as_shot"], 1 / np.array(NEUTRAL), rtol=1e-4)


SINGULAR = {
    "all ones": [(1, 1)] * 9,
    "two rows alike": [(1, 1), (2, 1), (3, 1)] * 2 + [(1, 2), (1, 1), (1, 3)],
    "no denominators": [(1, 0)] * 9,
    "nearly singular": [(1000000, 1000000)] * 8 + [(1000001, 1000000)],
}


@pytest.mark.parametrize("numbers", SINGULAR.values(), ids=SINGULAR)
@pytest.mark.parametrize("kind", ["bayer", "linear"])
def test_a_matrix_that_cannot_be_inverted_counts_as_none(numbers: list[tuple[int, int]], kind: str) -> None:
    mosaic = night_mosaic(64, 96)
    whole = tiny_dng(mosaic) if kind == "bayer" else unusual_dng(np.stack([mosaic] * 3, axis=-1))
    data = restated(whole, 50721, b"".join(struct.pack("<2i", *pair) for pair in numbers))
    camera = rawfile.read(data, measured=True)[0]["camera"]
    assert np.array_equal(camera["to_srgb"], np.eye(3))
    assert np.allclose(camera["as_shot"], 1 / np.array(NEUTRAL), rtol=1e-4)
    assert min(camera["daylight"]) == 1 and np.isfinite(camera["daylight"]).all()


@pytest.mark.parametrize("neutral", [(0, 1), (0xFFFFFFFF, 1)])
def test_a_neutral_without_a_meaning_counts_as_daylight(neutral: tuple[int, int]) -> None:
    stated = struct.pack("<2I", *neutral) + struct.pack("<4I", 1, 1, 1, 1)
    camera = rawfile.read(restated(tiny_dng(night_mosaic(64, 96)), 50728, stated), measured=True)[0]["camera"]
    assert camera["as_shot"] == camera["daylight"]


@pytest.mark.parametrize("white", [BLACK, BLACK - 100])
@pytest.mark.parametrize("kind", ["bayer", "linear", "grey", "six"])
def test_white_no_brighter_than_black_is_damage_and_no_division_by_zero(kind: str, white: int) -> None:
    mosaic = night_mosaic(600, 600)
    whole, colours = {
        "bayer": (tiny_dng(mosaic), 1), "grey": (unusual_dng(mosaic), 1),
        "six": (unusual_dng(mosaic, SIX_BY_SIX), 1),
        "linear": (unusual_dng(np.stack([mosaic] * 3, axis=-1)), 3),
    }[kind]  # fmt: skip
    data = restated(whole, 50717, struct.pack(f"<{colours}I", *[white] * colours))
    with pytest.raises(UndecodableError, match="white is no brighter than black") as caught:
        rawfile.read(data, measured=True)
    assert caught.value.damaged


def test_a_constant_picture_from_an_unmeasured_file_is_damage() -> None:
    flat = tiny_dng(np.full((64, 96), 700, np.uint16))
    assert rawfile.read(flat, measured=True)[1][0].max() == 700
    with pytest.raises(UndecodableError, match="every sample") as caught:
        rawfile.read(flat, measured=False)
    assert caught.value.damaged


@pytest.mark.parametrize("words", ["data corrupted at 1234", "Unexpected end of file"])
def test_what_libraw_only_prints_about_broken_data_is_damage(
    words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It goes on decoding, and gives a picture."""

    class Complaining(rawpy.RawPy):  # type: ignore[misc]
        def unpack(self) -> None:
            os.write(2, f"a.dng: {words}\n".encode())
            super().unpack()

    data = tiny_dng(night_mosaic(64, 96))
    with monkeypatch.context() as broken:
        broken.setattr(rawpy, "RawPy", Complaining)
        with pytest.raises(UndecodableError, match=words[:17]) as caught:
            rawfile.read(data, measured=True)
    assert caught.value.damaged
    assert rawfile.read(data, measured=True)[1][0].shape == (64, 96)


def test_data_that_comes_back_otherwise_when_decoded_again_is_damage(monkeypatch: pytest.MonkeyPatch) -> None:
    """As missing data does, which is whatever lay in memory; one sample of it is enough."""
    data = tiny_dng(night_mosaic(64, 96))
    once, made = rawfile._once, []

    def otherwise(data: bytes) -> Any:
        facts, (pixels,) = once(data)
        pixels = pixels.copy()
        pixels[-1, -1] += len(made)
        made.append(pixels)
        return facts, [pixels]

    monkeypatch.setattr(rawfile, "_once", otherwise)
    rawfile.read(data, measured=True)
    with pytest.raises(UndecodableError, match="two different pictures") as caught:
        rawfile.read(data, measured=False)
    assert caught.value.damaged
    assert len(made) == 3


def test_what_is_no_raw_is_unsupported_not_damaged() -> None:
    with pytest.raises(UndecodableError) as caught:
        rawfile.read(b"II*\0" + bytes(500), measured=True)
    assert not caught.value.damaged


def light_halves(height: int, width: int) -> npt.NDArray[np.float64]:
    return np.where(np.mgrid[0:height, 0:width][1] < width // 2, 0.2, 0.5)


def counted(light: npt.NDArray[np.float64]) -> npt.NDArray[np.uint16]:
    return np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16)


def linear_light(data: bytes) -> tuple[dict[str, Any], npt.NDArray[np.float64]]:
    facts, arrays = rawfile.read(data, measured=True)
    assert facts["layout"] == "linear"
    return facts, (arrays[0] - facts["black"]) / (facts["white"] - facts["black"])


def test_six_by_six_colours_come_through_libraws_own_interpolation() -> None:
    y, x = np.mgrid[0:600, 0:600]
    colours = np.array(SIX_BY_SIX).reshape(6, 6)[y % 6, x % 6]
    light = light_halves(600, 600)
    facts, made = linear_light(unusual_dng(counted(light * np.array(NEUTRAL)[colours]), SIX_BY_SIX))
    assert made.shape == (600, 600, 3)
    assert np.allclose(made[300, 100], 0.2 * np.array(NEUTRAL), atol=1e-3)
    assert np.allclose(made[300, 500], 0.5 * np.array(NEUTRAL), atol=1e-3)
    assert np.allclose(facts["camera"]["as_shot"], 1 / np.array(NEUTRAL), rtol=1e-4)


@pytest.mark.parametrize("pattern", [(0, 1, 2, 1), (1, 0, 1, 2), (1, 1, 0, 2), (0, 2, 1, 1)])
def test_two_by_two_colours_whose_greens_are_not_diagonal_are_no_bayer_mosaic(
    pattern: tuple[int, int, int, int],
) -> None:
    """Taken for one, their colours were off by half; LibRaw itself makes wrong ones of the third."""
    y, x = np.mgrid[0:96, 0:132]
    colours = np.array(pattern).reshape(2, 2)[y % 2, x % 2]
    data = tiny_dng(counted(light_halves(96, 132) * np.array(NEUTRAL)[colours]), pattern=pattern)
    assert dng_reader.layout_of(data) is None
    _, made = linear_light(data)
    assert np.allclose(made[48, 20], 0.2 * np.array(NEUTRAL), atol=2e-3)
    assert np.allclose(made[48, 110], 0.5 * np.array(NEUTRAL), atol=2e-3)


def test_samples_without_colour_are_grey_light() -> None:
    light = light_halves(96, 132)
    facts, made = linear_light(unusual_dng(counted(light)))
    assert facts["camera"] is None
    assert np.allclose(made, light[:, :, None], atol=1e-4)


def test_samples_are_raised_by_the_highest_black_so_that_noise_below_it_stays_in_every_colour() -> None:
    counts = np.array([[400, 15000]], np.uint16)
    raw = SimpleNamespace(
        raw_type=rawpy.RawType.Flat, raw_image=counts, white_level=WHITE,
        black_level_per_channel=[500, 530, 510, 520],
    )  # fmt: skip
    assert rawfile._raise(raw) == 530
    assert counts.tolist() == [[930, 15530]]


def test_samples_of_all_colours_are_taken_as_they_are() -> None:
    light = light_halves(96, 132)[:, :, None] * np.array(NEUTRAL)
    facts, made = linear_light(unusual_dng(counted(light)))
    assert np.allclose(made, light, atol=1e-4)
    assert np.allclose(np.sum(facts["camera"]["to_srgb"], axis=1), 1, atol=1e-3)


def test_black_levels_that_differ_by_colour_leave_nothing_of_themselves_in_linear_samples() -> None:
    counts = np.broadcast_to(np.array([[[500, 512, 540]]], np.uint16), (64, 96, 3))
    data = restated(unusual_dng(counts.copy()), 50714, struct.pack("<3H", 500, 512, 540))
    assert np.abs(linear_light(data)[1]).max() < 1e-5


@pytest.mark.parametrize("margins", [(0, 0, 0, 0), (2, 4, 2, 4), (3, 4, 2, 4), (2, 5, 2, 4), (3, 5, 2, 4)])
@pytest.mark.parametrize("compressed", [False, True])
def test_levels_by_place_begin_at_the_active_areas_corner(
    margins: tuple[int, int, int, int], compressed: bool
) -> None:
    """DNG 1.7.1, BlackLevel; from memory of it. All samples lie 1000 above their black."""
    top, left, _, _ = margins
    y, x = np.mgrid[0:98, 0:164]
    levels = np.array([[500, 510], [520, 530]])
    mosaic = (1000 + levels[(y - top) % 2, (x - left) % 2]).astype(np.uint16)
    data = dng(mosaic, margins=margins, black=(500, 510, 520, 530), compressed=compressed, bits=14)
    layout = dng_reader.layout_of(data)
    own = rawfile.read_own(data, layout) if layout else None
    assert own is not None
    for facts, (pixels,) in (own, rawfile.read(data, measured=True)):
        black = np.array(facts["black"]).reshape(2, 2)
        rows, columns = pixels.shape
        assert np.all(pixels - np.tile(black, (rows // 2, columns // 2)) == 1000)


def test_margins_are_left_out_and_move_the_pattern() -> None:
    mosaic = night_mosaic(97, 163)
    facts, arrays = rawfile.read(dng(mosaic, margins=(3, 5, 2, 4)), measured=True)
    # LibRaw begins at the next even corner.
    assert np.array_equal(arrays[0], mosaic[4:95, 6:159])
    assert facts["pattern"] == [2, 1, 1, 0]


@pytest.mark.samples
@pytest.mark.parametrize("name", RAWS)
def test_real_raws_are_exactly_what_libraw_unpacks(name: str) -> None:
    data = sample(name).read_bytes()
    facts, arrays = rawfile.read(data, measured=False)
    with rawpy.imread(io.BytesIO(data)) as raw:
        assert np.array_equal(arrays[0], raw.raw_image_visible)
    assert facts["layout"] == "mosaic"
    assert np.allclose(np.sum(facts["camera"]["to_srgb"], axis=1), 1, atol=1e-3)
