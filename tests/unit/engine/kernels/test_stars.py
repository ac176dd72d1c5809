"""Colours of stars: against a plain implementation, and on stars of known colour before a coloured sky."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain.stars import own_colours

from archive.engine.kernels import neighbourhood, pyramid, stars

Plane = npt.NDArray[np.float32]
USUAL = np.float32(0.09)


def detail_of(plane: Plane) -> Plane:
    coarse = np.empty((-(-plane.shape[0] // 2), -(-plane.shape[1] // 2)), np.float32)
    neighbourhood.halve(plane, coarse, 0, coarse.shape[0])
    out = np.empty_like(plane)
    pyramid.details(plane, coarse, 1, out, 0, plane.shape[0])
    return out


def coloured(
    shares: Plane, luma: Plane, tints: list[Plane], noise: tuple[float, ...], slope: Plane, band: int = 1000
) -> tuple[Plane, Plane]:
    """Slopes and offsets; before, the offset was 0.1 everywhere."""
    slopes = np.stack([slope, slope])
    offsets = np.full_like(slopes, 0.1)
    tinges = np.stack([detail_of(tint) for tint in tints])
    asked = shares, luma, detail_of(luma), tinges, np.array(noise, np.float32), USUAL, slopes, offsets
    for first in range(0, luma.shape[0], band):
        stars.own_colours(*asked, first, min(first + band, luma.shape[0]))
    return slopes, offsets


def sky_with_stars(seed: int, size: tuple[int, int] = (41, 53)) -> tuple[Plane, Plane, list[Plane]]:
    """Shares, luma and two differences: a sky whose differences fall where it brightens, and stars."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    luma = 0.3 + 0.004 * x + random.normal(0, 0.004, size)
    tints = [-0.5 * luma + random.normal(0, 0.004, size) for _ in range(2)]
    shares = np.zeros(size, np.float32)
    for row, column, colour in ((0, 3, 0.2), (9, 12, 0.3), (20, 52, -0.1), (30, 31, 0.0), (33, 31, 0.4)):
        light = 0.3 * np.exp(-((y - row) ** 2 + (x - column) ** 2) / 1.1)
        luma = luma + light
        tints = [tint + share * colour * light for tint, share in zip(tints, (1, -0.5), strict=True)]
        shares[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3] = random.uniform(0.5, 1)
    return shares, luma.astype(np.float32), [tint.astype(np.float32) for tint in tints]


def assert_plain(
    shares: Plane, luma: Plane, tints: list[Plane], noise: tuple[float, ...], slope: Plane
) -> None:
    detail, *tinges = (detail_of(each).astype(np.float64) for each in (luma, *tints))
    before = np.stack([slope, slope]).astype(np.float64), np.full((2, *luma.shape), 0.1)
    expected = own_colours(shares, luma.astype(np.float64), detail, np.stack(tinges), noise, *before)
    for made, meant in zip(coloured(shares, luma, tints, noise, slope), expected, strict=True):
        assert np.abs(made - meant).max() < 2e-5


@pytest.mark.parametrize("seed", range(4))
def test_it_is_what_a_plain_one_makes(seed: int) -> None:
    assert_plain(*sky_with_stars(seed), (1.6e-5, 1.6e-5, 3e-5), np.full((41, 53), -0.5, np.float32))


@pytest.mark.parametrize("seed", range(12))
def test_in_a_crowded_field_each_star_has_the_pixels_that_a_plain_one_gives_it(seed: int) -> None:
    """At rims, where peaks touch at corners only, and where what is brighter beside a star is none."""
    random = np.random.default_rng(seed)
    light = random.uniform(0, 1, (24, 31)) ** 12
    shares, luma = np.ones(light.shape, np.float32), light.astype(np.float32)
    tints = [(random.uniform(-0.3, 0.3, luma.shape) * luma).astype(np.float32) for _ in range(2)]
    assert_plain(shares, luma, tints, (1e-4, 1e-3, 2e-3), np.full(luma.shape, -0.5, np.float32))


@pytest.mark.parametrize("band", [1, 5, 16])
def test_it_is_the_same_in_whatever_bands_it_is_made(band: int) -> None:
    asked = *sky_with_stars(9), (1.6e-5, 1.6e-5, 3e-5), np.full((41, 53), -0.5, np.float32)
    for made, whole in zip(coloured(*asked, band), coloured(*asked), strict=True):
        assert np.array_equal(made, whole)


@pytest.mark.parametrize("colour", [-0.15, 0.0, 0.3])
def test_a_star_gets_its_own_colour_and_the_sky_keeps_its(colour: float) -> None:
    y, x = np.mgrid[0:30, 0:30]
    light = (0.4 * np.exp(-((y - 14) ** 2 + (x - 15) ** 2) / 1.1)).astype(np.float32)
    luma, tint = np.float32(0.3) + light, np.float32(-0.05) + np.float32(colour) * light
    # As over a green curtain: the difference falls by 0.5 where luma rises.
    slope = np.full_like(luma, -0.5)
    shares = (light > 0.001).astype(np.float32)
    slopes, offsets = coloured(shares, luma, [tint, -tint], (1e-7, 1e-7, 1e-7), slope)
    steep = slopes[0]
    made = steep * luma + offsets[0]
    assert abs(slopes[1, 14, 15] + colour) < 0.02
    assert abs(steep[14, 15] - colour) < 0.02
    assert abs(made[14, 15] - (0.1 - 0.15 + colour * 0.4)) < 0.01
    assert np.array_equal(steep[shares == 0], slope[shares == 0])
    assert np.abs(made[11:18, 12:19] - (-0.05 + colour * light[11:18, 12:19])).max() < 0.02


def test_a_colour_that_cannot_be_told_is_white() -> None:
    shares, luma, tints = sky_with_stars(3)
    slope = np.full((41, 53), -0.5, np.float32)
    slopes, _ = coloured(np.sign(shares), luma, tints, (1.6e-5, 1.6e-5, 100.0), slope)
    # From the sky's slope as far towards 0 as the other goes towards the star's 0.3.
    share = (slopes[0, 9, 12] + 0.5) / 0.8
    assert share > 0.6
    assert abs(slopes[1, 9, 12] + 0.5 * (1 - share)) < 0.02


def test_edges_and_corners_of_two_colours_are_no_stars() -> None:
    y, x = np.mgrid[0:40, 0:40]
    for inside in (x > 20, y > 19, (x > 20) & (y > 19), (abs(x - 20) < 2) & (y > 10)):
        luma, tint = np.where(inside, 0.8, 0.2), np.where(inside, -0.1, 0.2) * np.where(y > 25, 1, -1)
        slope = np.full((40, 40), 0.3, np.float32)
        everywhere = np.ones((40, 40), np.float32)
        tints = [tint.astype(np.float32)] * 2
        slopes, _ = coloured(everywhere, luma.astype(np.float32), tints, (1e-6, 1e-6, 1e-6), slope)
        assert np.mean(np.abs(slopes - slope) > 0.05) < 0.01
