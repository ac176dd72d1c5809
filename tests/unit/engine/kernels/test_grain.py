"""Roots and back, and spots."""

import numpy as np
import pytest
from support.plain import noise as plain
from support.plain.planes import grown

from archive.engine.kernels import grain


def test_roots_and_back_is_the_same_light() -> None:
    planes = np.random.default_rng(1).uniform(0, 1, (3, 20, 30)).astype(np.float32)
    made = planes.copy()
    offsets = np.array([1e-3, 3e-3, 2e-3], np.float32)
    grain.to_roots(made, offsets, 0, 20)
    grain.from_roots(made[0].copy(), made, offsets, np.zeros(3, np.float32), 0, 20)
    assert np.abs(made - planes).max() < 1e-6


def test_luma_is_the_weighted_mean_of_roots_of_light_half_way_to_grey() -> None:
    # Grey is 0.095: half way to it lie 0.04, 0.09 and 0.16.
    planes = np.array([-0.015, 0.085, 0.225], np.float32).reshape(3, 1, 1).copy()
    grain.to_roots(planes, np.zeros(3, np.float32), 0, 1)
    assert np.allclose(planes[:, 0, 0], [0.3, -0.1, 0.1], atol=1e-6)


def test_roots_and_what_is_given_back_are_those_of_plain_arithmetic() -> None:
    """To 3e-7 of light up to 1.4 and its roots; dark light has noise below 0, roots are held at 0."""
    random = np.random.default_rng(6)
    planes = (random.choice([0.0, 0.02, 1.2], (20, 31)) + random.normal(0, 0.03, (3, 20, 31))).astype(
        np.float32
    )
    made = planes.copy()
    offsets, lost = np.array([4e-3, 2e-3, 7e-3]), np.array([1e-4, 2e-3, 3e-5])
    grain.to_roots(made, offsets.astype(np.float32), 0, 20)
    assert np.abs(made - plain.to_roots(planes.astype(np.float64), offsets)).max() < 3e-7
    # As smoothing would leave them: colours that luma alone does not hold above 0.
    made[1:] += random.normal(0, 0.1, (2, 20, 31)).astype(np.float32)
    expected = plain.from_roots(*made.astype(np.float64), offsets, list(lost))
    grain.from_roots(made[0].copy(), made, offsets.astype(np.float32), lost.astype(np.float32), 0, 20)
    assert np.abs(made - expected).max() < 1e-6


@pytest.mark.parametrize("doublings", [0, 1, 2])
@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_following_is_what_plain_arithmetic_makes(doublings: int, share: float) -> None:
    """To a millionth: one product and three sums of numbers up to 2."""
    random = np.random.default_rng(7)
    planes = random.uniform(0, 1, (3, 21, 30)).astype(np.float32)
    small = 2, -(-21 // 2**doublings), -(-30 // 2**doublings)
    slopes, offsets = (random.normal(0, 0.5, small).astype(np.float32) for _ in range(2))
    made = planes.copy()
    grain.follow(made[0], made, slopes, offsets, doublings, np.float32(share), 0, 21)
    for k in range(2):
        slope, offset = (grown(each[k].astype(np.float64), doublings, (21, 30)) for each in (slopes, offsets))
        expected = planes[k + 1] + share * (slope * planes[0] + offset - planes[k + 1])
        assert np.abs(made[k + 1] - expected).max() < 1e-6


def test_a_mixture_lies_between() -> None:
    before, after = np.random.default_rng(8).uniform(-1, 1, (2, 3, 7, 9)).astype(np.float32)
    made = after.copy()
    grain.mixed(before, made, np.float32(0.3), 2, 7)
    assert np.abs(made[:, 2:] - (0.7 * before + 0.3 * after)[:, 2:]).max() < 3e-7
    assert np.array_equal(made[:, :2], after[:, :2])


def test_colour_follows_luma_by_the_coefficients_of_smaller_planes() -> None:
    random = np.random.default_rng(2)
    planes = random.uniform(0, 1, (3, 17, 22)).astype(np.float32)
    slopes = np.stack([np.full((5, 6), 0.5), np.full((5, 6), -1.0)]).astype(np.float32)
    offsets = np.stack([np.full((5, 6), 0.1), np.full((5, 6), 0.2)]).astype(np.float32)
    made = planes.copy()
    grain.follow(made[0], made, slopes, offsets, 2, np.float32(1), 0, 17)
    assert np.array_equal(made[0], planes[0])
    assert np.allclose(made[1], 0.5 * planes[0] + 0.1, atol=1e-6)
    assert np.allclose(made[2], 0.2 - planes[0], atol=1e-6)


def test_variances_of_blocks_are_those_of_every_plane() -> None:
    planes = np.random.default_rng(3).normal(0.3, 0.02, (3, 40, 57)).astype(np.float32)
    out = np.empty((6, 3, 4), np.float32)
    grain.block_variances(planes, 8, 16, out, 0, 3)
    luma, warm, cold = planes.astype(np.float64)
    expected = (luma, warm, cold, luma + warm, luma - 0.5 * (warm + cold), luma + cold)
    for made, plane in zip(out, expected, strict=True):
        assert np.allclose(made[1, 2], plane[16:24, 32:40].var(), rtol=1e-4)


def test_what_does_not_follow_the_guide_is_told() -> None:
    target, guide, slope, offset = np.random.default_rng(4).uniform(0, 1, (4, 6, 9)).astype(np.float32)
    out = np.empty_like(target)
    grain.unexplained(target, guide, slope, offset, out, 0, 6)
    assert np.allclose(out, target - (slope * guide + offset), atol=1e-6)
