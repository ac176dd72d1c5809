"""Neutral picked from a patch."""

import numpy as np
import pytest
from support.recipes import FULL, camera, frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.engine import colour
from archive.engine.decode import Decoded
from archive.engine.neutral import picked_neutral
from archive.engine.pipeline import render_linear
from archive.errors import UsageError


def lit(kelvin: float, duv: float, *, orientation: int = 1) -> Decoded:
    """A mosaic of darkness with a grey patch under this light in its upper left quarter."""
    shot = 1 / camera().multipliers_for(colour.illuminant_xy(kelvin, duv))
    y, x = np.mgrid[0:40, 0:60]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    light = np.where((y < 20) & (x < 30), 0.4 * shot[channel], 0.01)
    return frame(np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16), orientation=orientation)


@pytest.mark.parametrize(("kelvin", "duv"), [(2600, 0.0), (4000, 0.012), (6500, -0.008), (11000, 0.003)])
def test_the_light_on_a_grey_patch_is_found(kelvin: float, duv: float) -> None:
    found = picked_neutral(lit(kelvin, duv), (0.05, 0.05, 0.45, 0.45))
    assert found.kelvin == pytest.approx(kelvin, rel=0.003)
    assert found.duv == pytest.approx(duv, abs=4e-4)
    assert found.clipped == 0


def test_balancing_with_what_was_picked_makes_the_patch_grey() -> None:
    decoded = lit(3300, 0.015)
    found = picked_neutral(decoded, (0.05, 0.05, 0.45, 0.45))
    light = recipe(f"balance.kelvin={found.kelvin}", f"balance.duv={found.duv}")
    made = render_linear(decoded, light, FULL)
    patch = made[4:16, 4:26].mean(axis=(0, 1))
    assert np.ptp(patch) / patch.mean() < 2e-3


def test_a_patch_is_picked_in_the_upright_frame() -> None:
    turned = lit(4500, 0.0, orientation=3)
    assert picked_neutral(turned, (0.55, 0.55, 0.95, 0.95)).kelvin == pytest.approx(4500, rel=0.003)


def test_a_developed_picture_tells_its_own() -> None:
    light = colour.XYZ_TO_SRGB @ colour.xyz_of(colour.illuminant_xy(5000, 0.002)) * 0.3
    field = np.broadcast_to(light.astype(np.float32), (10, 10, 3))
    found = picked_neutral(picture(field), (0, 0, 1, 1))
    assert (found.kelvin, found.duv) == pytest.approx((5000, 0.002), rel=2e-3)


def speckled(share: float) -> Decoded:
    """The lit patch with bright lights on it, wholly clipped, that take this share of its cells."""
    decoded = lit(4700, -0.002)
    cells = np.random.default_rng(4).permutation(150)[: round(share * 150)]
    rows, columns = 2 * (cells // 15), 2 * (cells % 15)
    for y, x in ((0, 0), (0, 1), (1, 0), (1, 1)):
        decoded.pixels[rows + y, columns + x] = WHITE
    return decoded


def test_a_few_clipped_lights_in_the_patch_change_nothing_and_are_told() -> None:
    found = picked_neutral(speckled(0.04), (0, 0, 0.5, 0.5))
    assert (found.kelvin, found.duv) == (pytest.approx(4700, rel=0.003), pytest.approx(-0.002, abs=4e-4))
    assert found.clipped == pytest.approx(0.04)


def test_a_patch_of_which_a_tenth_is_clipped_is_refused_with_the_share() -> None:
    with pytest.raises(UsageError, match=r"The patch is clipped: 10 % of it\..*darker"):
        picked_neutral(speckled(0.1), (0, 0, 0.5, 0.5))


def test_a_patch_whose_strongest_colour_alone_is_clipped_in_parts_is_refused() -> None:
    """Its mean is far below clipping, and green that is cut short would tell of another light."""
    field = np.full((20, 20, 3), 0.5, np.float32)
    field[::5, :, 1] = 1.0
    with pytest.raises(UsageError, match="clipped: 20 %"):
        picked_neutral(picture(field), (0, 0, 1, 1))


def test_one_pattern_of_a_mosaic_is_enough_at_every_edge_of_the_frame() -> None:
    decoded = lit(4700, 0.0)
    edges = ((0, 0, 1e-4, 1e-4), (0.49, 0, 0.4901, 1e-4), (0, 0.47, 1e-4, 0.4701))
    for box in edges:
        assert picked_neutral(decoded, box).kelvin == pytest.approx(4700, rel=0.003)


@pytest.mark.parametrize(
    ("field", "box", "told"),
    [
        ((0.3, 0.3, 0.3), (0.5, 0.0, 0.4, 1.0), "no part"),
        ((1.0, 0.9, 0.9), (0.0, 0.0, 1.0, 1.0), "clipped\\..*grey and darker"),
        ((0.0, 0.1, 0.1), (0.0, 0.0, 1.0, 1.0), "too dark\\..*grey and brighter"),
        ((0.05, 0.8, 0.05), (0.0, 0.0, 1.0, 1.0), "does not reach"),
    ],
)
def test_what_cannot_be_neutral_is_refused(
    field: tuple[float, float, float], box: tuple[float, float, float, float], told: str
) -> None:
    with pytest.raises(UsageError, match=told):
        picked_neutral(picture(np.broadcast_to(np.float32(field), (8, 8, 3))), box)
