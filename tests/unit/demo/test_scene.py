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


def test_ice_mirrors_as_fresnel_says() -> None:
    # n = 1.31: 1.80 % straight down; all of it at grazing incidence. At Brewster's angle (52.6° from the
    # normal) only the half polarised across remains: 0.5 x ((n^2 - 1) / (n^2 + 1))^2 = 3.47 %.
    down, brewster, grazing = scene.reflectance(np.array([1e9, 1 / 1.31, 0.002]))
    assert down == pytest.approx((0.31 / 2.31) ** 2, rel=1e-4)
    assert brewster == pytest.approx(0.5 * ((1.31**2 - 1) / (1.31**2 + 1)) ** 2, rel=1e-4)
    assert grazing > 0.97


def test_cracks_are_thin_and_join_into_plates() -> None:
    x, y = np.meshgrid(np.arange(0, 120, 0.1), np.arange(0, 120, 0.1))
    frost = scene.cracks(x, y)
    assert frost.min() >= 0
    assert frost.max() <= 1
    assert 0.001 < (frost > 0.4).mean() < 0.05


def test_no_two_trees_are_alike() -> None:
    random = np.random.Generator(np.random.PCG64(2))
    outlines = []
    for _ in range(6):
        maps, depth = np.ones((5, 120, 80), np.float32), np.full((120, 80), np.inf)
        view = scene._View(80, 120, 100, 0.25, 0.0, 1)
        scene._spruce(maps, depth, view, 40.0, 0.0, 0.0, 12.0, random.uniform(0, 1, 3))
        outlines.append(maps[0] == 0)
    for index, outline in enumerate(outlines):
        assert outline.sum() > 150
        assert not np.array_equal(outline, outline[:, ::-1])
        for other in outlines[:index]:
            assert (outline ^ other).sum() > 0.1 * outline.sum()
