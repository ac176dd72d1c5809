"""A raw file's own words about its noise."""

import math
import struct
from typing import Any

import numpy as np
import pytest
from support.dngs import dng, unusual_dng
from support.tinydng import night_mosaic

from archive.engine import rawfile, toldnoise
from archive.engine.dng import layout_of

PLANES = (1e-3, 1e-6, 4e-4, 2e-6, 8e-4, 3e-6)


def profiled(*numbers: float, kind: int = 12, order: str = "<") -> bytes:
    data = struct.pack(f"{order}{len(numbers)}d", *numbers)
    # The writer knows bytes, words and longs; the entry's kind and count are put right afterwards.
    made = dng(night_mosaic(64, 96), order=order, extra=((51041, 1, list(data)),))
    head = struct.pack(order + "HHI", 51041, 1, len(data))
    assert made.count(head) == 1
    return made.replace(head, struct.pack(order + "HHI", 51041, kind, len(numbers)))


@pytest.mark.parametrize("order", ["<", ">"])
def test_one_pair_is_for_every_plane(order: str) -> None:
    assert toldnoise.told(profiled(4e-4, 2e-6, order=order)) == (4e-4, 2e-6)


def test_of_a_pair_for_each_plane_greens_is_taken() -> None:
    assert toldnoise.told(profiled(*PLANES)) == (4e-4, 2e-6)


@pytest.mark.parametrize(
    "numbers",
    [
        (0.0, 0.0), (-1e-4, 1e-6), (math.nan, 1e-6), (1e-4, math.inf), (1e-4, -1e-6), (3.0, 1e-6),
        (1e-4, 0.5),
        (1e-4,), (1e-4, 1e-6, 1e-4), (), (1e-4, 1e-6) * 50,
    ],
)  # fmt: skip
def test_what_no_camera_can_mean_is_nothing_told(numbers: tuple[float, ...]) -> None:
    assert toldnoise.told(profiled(*numbers) if numbers else dng(night_mosaic(64, 96))) is None


def test_another_type_of_value_is_nothing_told() -> None:
    assert toldnoise.told(profiled(4e-4, 2e-6, kind=9)) is None


@pytest.mark.parametrize("data", [b"", b"II*\0", b"II*\0" + bytes(200), b"\xff\xd8\xff\xe0" + bytes(90)])
def test_what_is_no_dng_tells_nothing(data: bytes) -> None:
    assert toldnoise.told(data) is None


def test_both_readers_hand_it_on() -> None:
    data = profiled(4e-4, 2e-6)
    layout = layout_of(data)
    assert layout is not None
    own = rawfile.read_own(data, layout)
    facts: dict[str, Any] = rawfile.read(data, measured=True)[0]
    assert own is not None and own[0] == facts
    assert facts["noise"] == (4e-4, 2e-6)
    assert facts["iso"] == 0


def test_samples_that_are_no_bayer_mosaic_come_with_what_their_file_tells_too() -> None:
    for pixels in (night_mosaic(120, 120), np.stack([night_mosaic(120, 120)] * 3, axis=-1)):
        for told in (None, (2e-4, 3e-6)):
            facts = rawfile.read(unusual_dng(pixels, noise=told), measured=True)[0]
            assert (facts["noise"], facts["iso"]) == (told, 0)
