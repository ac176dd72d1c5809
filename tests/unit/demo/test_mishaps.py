"""Mishaps do what they say, when they say, and nothing before."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo.mishaps import NONE, Mishaps


def spots() -> np.ndarray:
    picture = np.full((80, 120, 3), 0.1, np.float32)
    for row, column in ((20, 30), (50, 80), (60, 25)):
        picture[row - 1 : row + 2, column - 1 : column + 2] = 0.8
    return picture


def test_nothing_happens_on_a_night_without_mishaps() -> None:
    picture = spots()
    assert NONE.befall(picture, 5, seed=1, camera="north") is picture


def test_a_bump_moves_the_picture_by_its_shares_from_its_frame_on() -> None:
    mishaps = Mishaps(bump_at=10, bump=(0.05, -0.025))
    picture = spots()
    np.testing.assert_array_equal(mishaps.befall(picture, 9, seed=1, camera="north"), picture)
    moved = mishaps.befall(picture, 10, seed=1, camera="north")
    np.testing.assert_allclose(moved[10:70, 10:110], picture[13:73, 4:104], atol=1e-5)


def test_half_pixels_of_a_bump_are_between_their_neighbours() -> None:
    picture = spots()
    moved = Mishaps(bump_at=0, bump=(0.5 / 120, 0.0)).befall(picture, 0, seed=1, camera="north")
    np.testing.assert_allclose(moved[:, 1:], 0.5 * (picture[:, 1:] + picture[:, :-1]), atol=1e-6)


def test_dew_grows_blurs_and_darkens() -> None:
    mishaps = Mishaps(dew_from=4, dew_frames=5, dew_blur=0.02, dew_loss=0.3)
    assert [mishaps.dew(slot) for slot in (3, 4, 8, 50)] == pytest.approx([0, 0.2, 1, 1])
    picture = spots()
    sharp = [mishaps.befall(picture, slot, seed=1, camera="north") for slot in (3, 4, 6, 8)]
    edges = [float(np.abs(np.diff(light[..., 1], axis=1)).max()) for light in sharp]
    assert edges == sorted(edges, reverse=True) and edges[-1] < edges[0] / 3
    assert sharp[-1].mean() == pytest.approx(0.7 * picture.mean(), rel=0.02)


def test_flicker_has_the_asked_spread_and_is_the_same_every_time() -> None:
    mishaps = Mishaps(flicker=0.1)
    stops = np.array([mishaps.wavering(slot, 7, "north") for slot in range(400)])
    # The standard error of a standard deviation of 400 normal values is 3.5 %.
    assert stops.std() == pytest.approx(0.1, rel=0.11)
    assert abs(stops.mean()) < 0.015
    assert stops[3] == mishaps.wavering(3, 7, "north") != mishaps.wavering(3, 7, "river")
    lit = mishaps.befall(spots(), 3, seed=7, camera="north")
    np.testing.assert_allclose(lit, spots() * 2 ** stops[3], rtol=1e-5)
