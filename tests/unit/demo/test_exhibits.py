"""What the gallery shows of the demo's night."""

from __future__ import annotations

import io

import numpy as np
import pytest
import rawpy

from archive.demo import cards, exhibits


@pytest.mark.parametrize("exhibit", exhibits.EXHIBITS, ids=lambda each: each.title)
def test_six_places_in_the_frame_are_looked_at_closely(exhibit: exhibits.Exhibit) -> None:
    assert len(exhibit.places) == 6
    assert all(0 < x < 1 and 0 < y < 1 for x, y in exhibit.places.values())


def test_one_frame_of_high_iso_is_shown_and_says_so() -> None:
    grainy = [each for each in exhibits.EXHIBITS if each.photosites]
    assert [each.told for each in grainy] == [
        "simulated, camera north, file 1, 4 s, f/1.8, ISO 6400, grain of a 24-megapixel sensor"
    ]


def test_files_come_in_the_order_of_the_exhibits_and_are_the_ones_that_cards_have(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    size, frames = (96, 64), 90
    monkeypatch.setattr(exhibits, "_SIZE", size)
    for exhibit, data in zip(exhibits.EXHIBITS, exhibits.raw_files(exhibits.EXHIBITS), strict=True):
        (plain,) = cards.raw_files(exhibit.camera, [exhibit.file], size=size, frames=frames)
        assert (data == plain) == (exhibit.photosites is None)


def test_smaller_photosites_hold_the_same_light_with_the_noise_of_fewer_electrons() -> None:
    mean, noise = [], []
    for photosites in ({}, {1: 6000}):
        (data,) = cards.raw_files("north", [1], size=(480, 320), frames=12, photosites=photosites)
        with rawpy.imread(io.BytesIO(data)) as raw:
            green = raw.raw_image[:150, 1::2][::2].astype(float)
        mean.append(green.mean() - 1024)
        noise.append(np.median(np.abs(np.diff(green, axis=1))) ** 2)
    assert mean[1] == pytest.approx(mean[0], rel=0.02)
    # 6 µm instead of 12 hold a quarter of the electrons: four times the variance by photon statistics, more
    # by what reading adds.
    assert 4 < noise[1] / noise[0] < 16
