"""Histograms count every sample once, and say what is clipped and black."""

from __future__ import annotations

import numpy as np
import pytest

from archive.engine.decode import Decoded
from archive.engine.histogram import DARKEST, PER_STOP, PICTURE_BINS, picture_levels, raw_levels


def mosaic(counts: dict[int, int]) -> Decoded:
    """An RGGB mosaic, black 100, white 1124, with a value for each place of its 2 × 2 pattern."""
    pixels = np.zeros((20, 30), np.uint16)
    for place, count in counts.items():
        pixels[place >> 1 :: 2, place & 1 :: 2] = count
    return Decoded(pixels=pixels, pattern=(0, 1, 1, 2), black=(100.0,) * 4, white=1124.0)


def test_every_sample_of_a_mosaic_is_counted_in_its_own_channel() -> None:
    levels = raw_levels(mosaic({0: 612, 1: 356, 2: 356, 3: 1124}))
    assert [channel.name for channel in levels.channels] == ["red", "green", "blue"]
    assert [channel.samples for channel in levels.channels] == [150, 300, 150]


@pytest.mark.parametrize(("count", "stops"), [(612, -1.0), (356, -2.0), (228, -3.0), (101, -10.0)])
def test_levels_stand_at_their_stops_below_clipping(count: int, stops: float) -> None:
    # Light is (count - black) / (white - black): 512 of 1024 is one stop below clipping.
    red = raw_levels(mosaic(dict.fromkeys(range(4), count))).channels[0]
    assert red.counts[round((stops - DARKEST) * PER_STOP)] == 150


def test_clipped_and_black_samples_are_told_apart_from_almost() -> None:
    levels = raw_levels(mosaic({0: 1124, 1: 1123, 2: 1200, 3: 100}))
    red, green, blue = levels.channels
    assert (red.clipped, red.black) == (150, 0)
    assert (green.clipped, green.black) == (150, 0)
    assert (blue.clipped, blue.black) == (0, 150)
    assert raw_levels(mosaic(dict.fromkeys(range(4), 101))).channels[2].black == 0


def test_a_picture_as_master_is_measured_in_the_same_stops() -> None:
    light = np.full((4, 5, 3), 0.25, np.float32)
    light[0] = [1.5, 0.0, 1.0]
    red, green, blue = raw_levels(Decoded(pixels=light)).channels
    assert (red.clipped, green.black, blue.clipped) == (5, 5, 5)
    assert green.counts[round((-2 - DARKEST) * PER_STOP)] == 15


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_finished_pictures_are_counted_by_shares_of_white(kind: type) -> None:
    top = np.iinfo(kind).max
    picture = np.zeros((8, 8, 3), kind)
    picture[..., 1] = top
    picture[:4, :, 2] = (top + 1) // 2
    red, green, blue = picture_levels(picture).channels
    assert (red.black, red.clipped, green.clipped, green.black) == (64, 0, 64, 0)
    assert (blue.black, blue.counts[PICTURE_BINS // 2]) == (32, 32)
    assert all(channel.samples == 64 for channel in (red, green, blue))


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_in_a_finished_picture_only_the_last_levels_are_clipped_and_black(kind: type) -> None:
    top = np.iinfo(kind).max
    picture = np.full((6, 7, 3), top - 1, kind)
    picture[0, :3, 0], picture[1, :2, 1], picture[2, :, 2] = top, 0, 1
    found = picture_levels(picture).channels
    assert [(channel.clipped, channel.black) for channel in found] == [(3, 0), (0, 2), (0, 0)]
