"""The land as maps: shares within bounds, river in front, sky above."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import scene


@pytest.fixture(scope="module")
def land() -> scene.Land:
    return scene.landscape(240, 160, 122, 0.9, -9.0, trees=800, seed=4)


def test_every_share_is_between_nothing_and_one(land: scene.Land) -> None:
    for share in (land.sky, land.ambient, land.direct, land.mirror, land.lamp):
        assert share.shape == (160, 240) and share.dtype == np.float32
        assert share.min() >= 0 and share.max() <= 1.001


def test_sky_is_above_land_below_with_a_soft_edge(land: scene.Land) -> None:
    assert land.sky[:50].min() == 1
    assert land.sky[123:].max() == 0
    assert ((land.sky > 0.05) & (land.sky < 0.95)).sum() > 100


def test_only_the_ice_mirrors_and_more_toward_the_horizon(land: scene.Land) -> None:
    assert land.mirror[:118].max() == 0
    below = land.mirror[125:]
    assert below.max() > 0.15
    assert np.quantile(below[:12], 0.95) > np.quantile(below[-12:], 0.95)


def test_the_cameras_stand_on_the_river() -> None:
    origin = np.zeros(1)
    assert scene.shore(origin, origin)[0] < 0
    assert scene.heights(origin, origin)[0] < 0.5


def test_the_same_seed_gives_the_same_land(land: scene.Land) -> None:
    again = scene.landscape(240, 160, 122, 0.9, -9.0, trees=800, seed=4)
    np.testing.assert_array_equal(again.ambient, land.ambient)
    other = scene.landscape(240, 160, 122, 0.9, -9.0, trees=800, seed=5)
    assert (other.ambient != land.ambient).any()
