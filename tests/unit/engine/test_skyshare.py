"""The light that land takes of the sky, against land that takes a known part."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from archive.engine.skyshare import shared_course

Floats = npt.NDArray[np.float64]
COUNT = 240
LIGHT = 3 * np.exp(-4 * np.log(2) * ((np.arange(COUNT) - 130) / 18) ** 2)


def land_and_sky(takes: float, tint: float, flicker: float = 0.0) -> tuple[Floats, Floats]:
    """Two cells of land that take a part of the sky's new light, six of sky; what land takes, in stops."""
    new = LIGHT[:, None] * np.array([takes] * 2 + [1.0] * 6)
    camera = np.random.default_rng(3).uniform(-flicker, flicker, COUNT)
    colours = np.stack([np.log2(1 + part * new) + camera[:, None] for part in (tint, 1.0, tint)])
    return colours, np.log2(1 + takes * LIGHT)


def found(colours: Floats, cells: int = 8) -> Floats:
    none = np.zeros(0, np.intp)
    steady = colours[1][:, :2].mean(axis=1)
    return shared_course(colours, steady, np.arange(2), np.arange(2, cells), none)


@pytest.mark.parametrize("flicker, off", [(0.0, 0.02), (0.2, 0.08)])
@pytest.mark.parametrize("takes, tint", [(0.2, 1.0), (0.2, 0.3), (1.0, 0.3)], ids=["grey", "green", "all"])
def test_what_the_land_takes_is_found_from_the_sky_or_from_its_colour(
    takes: float, tint: float, flicker: float, off: float
) -> None:
    colours, truth = land_and_sky(takes, tint, flicker)
    assert np.abs(found(colours) - truth).max() < off
    if tint < 1:
        assert np.abs(found(colours, cells=2) - truth).max() < off


def test_land_that_takes_nothing_is_left_alone() -> None:
    assert np.abs(found(land_and_sky(0.0, 1.0, 0.2)[0])).max() < 0.05


def test_where_all_change_alike_nothing_is_told() -> None:
    assert not found(land_and_sky(1.0, 1.0, 0.2)[0]).any()


def test_a_handful_of_frames_tells_nothing() -> None:
    assert not found(land_and_sky(0.5, 0.3)[0][:, 125:137]).any()


def test_colours_without_light_are_not_measured() -> None:
    colours, _ = land_and_sky(1.0, 0.3, 0.2)
    colours[[0, 2]] = -16.0
    assert not found(colours).any()
