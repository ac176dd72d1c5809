"""Tone, local contrast and sharpness as one pass."""

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import tone as plain

from archive.engine.kernels.rows import Rows
from archive.engine.operators.sharpness import Sharpness
from archive.engine.operators.tone import (
    Contrast,
    HighlightCompression,
    HighlightRecovery,
    LocalContrast,
    ShadowLift,
)
from archive.engine.tone import Tone, surroundings, toned

Planes = npt.NDArray[np.float32]
DIAGONAL = 1150.0


def made(planes: Planes, tone: Tone, diagonal: float = DIAGONAL, *, band: int | None = None) -> Planes:
    out = planes.copy()
    with Rows(1, band=band) as rows:
        rows.chain(toned(out, tone, diagonal, rows, []), *out.shape[1:])
    return out


def night(height: int = 150, width: int = 220) -> Planes:
    """A sky with a bright band, a dark ridge and stars; float32, linear sRGB."""
    random = np.random.default_rng(4)
    y, x = np.mgrid[0:height, 0:width]
    light = 0.02 + 0.5 * np.exp(-(((y - 40 - 0.1 * x) / 15) ** 2))
    light = np.where(y > 110 + 6 * np.sin(x / 9), 0.002, light)
    for cy, cx in random.uniform(10, 100, (12, 2)):
        light = light + 0.8 * np.exp(-((y - cy) ** 2 + (x - 2 * cx) ** 2) / 1.5)
    colour = np.array([0.5, 1.0, 0.6])[:, None, None]
    return (colour * light * random.uniform(0.9, 1.1, light.shape)).astype(np.float32)


ENDS = {
    "deep_lift": Tone(lift=ShadowLift(stops=4.0, reach=9.0)),
    "lowering": Tone(lift=ShadowLift(stops=-3.0, reach=2.0)),
    "much_room": Tone(recovery=HighlightRecovery(stops=3.0), headroom=3.0),
    "room_below_white": Tone(compression=HighlightCompression(stops=3.0, reach=1.5), headroom=-1.0),
    "no_room": Tone(compression=HighlightCompression(stops=3.0, reach=1.5), headroom=-1.6),
    "flattened": Tone(local=LocalContrast(amount=-0.9)),
    "textured": Tone(local=LocalContrast(amount=1.5)),
    "grey": Tone(contrast=Contrast(amount=-0.8, pivot=-8.0)),
    "hard": Tone(contrast=Contrast(amount=0.8, pivot=-0.5)),
    "crisp": Tone(sharpness=Sharpness(amount=3.0, radius=0.6, floor=0.0)),
    "calm": Tone(sharpness=Sharpness(amount=3.0, radius=3.0, floor=6.0)),
    "hardly": Tone(sharpness=Sharpness(amount=1.0, radius=0.53, floor=0.0)),
    "not_at_all": Tone(sharpness=Sharpness(amount=1.0, radius=0.52, floor=0.0)),
}  # fmt: skip
EACH = {
    "lift": Tone(lift=ShadowLift(stops=2.0)),
    "recovery": Tone(recovery=HighlightRecovery(stops=1.0), headroom=1.0),
    "compression": Tone(compression=HighlightCompression(stops=1.0)),
    "local": Tone(local=LocalContrast(amount=0.6)),
    "contrast": Tone(contrast=Contrast(amount=0.4)),
    "sharpness": Tone(sharpness=Sharpness(amount=1.0, radius=1.5)),
    "wide_sharpness": Tone(sharpness=Sharpness(amount=1.0, radius=5.0, floor=0.0)),
    "all": Tone(
        lift=ShadowLift(stops=1.5), compression=HighlightCompression(stops=0.7),
        local=LocalContrast(amount=0.3), contrast=Contrast(amount=0.2), sharpness=Sharpness(amount=0.5),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", EACH | ENDS)
def test_the_pass_is_what_slow_plain_arithmetic_makes(name: str) -> None:
    """To 3e-5 of the brightest: surroundings are told by variances, which square roundings of stops."""
    for planes in (night(), night() * np.float32(2**-7)):
        expected = plain.toned(planes, (EACH | ENDS)[name], DIAGONAL)
        got = made(planes, (EACH | ENDS)[name])
        assert np.abs(got - expected).max() < 3e-5 * np.abs(expected).max()
    assert np.array_equal(made(night(), (EACH | ENDS)[name]), night()) == (name in ("no_room", "not_at_all"))


@pytest.mark.parametrize("diagonal", [130.0, 400.0, 833.0, 834.0, 3400.0])
def test_radii_follow_the_size_of_the_frame_as_plain_arithmetic_says(diagonal: float) -> None:
    planes = night(100, 130)
    tone = Tone(
        lift=ShadowLift(stops=2.0), local=LocalContrast(amount=0.5),
        sharpness=Sharpness(amount=1.0, radius=5.0, floor=0.5),
    )  # fmt: skip
    expected = plain.toned(planes, tone, diagonal)
    assert np.abs(made(planes, tone, diagonal) - expected).max() < 3e-5 * np.abs(expected).max()


@pytest.mark.parametrize("name", EACH)
def test_pieces_change_nothing(name: str) -> None:
    assert np.array_equal(made(night(), EACH[name]), made(night(), EACH[name], band=5))


def test_nothing_asked_for_leaves_what_is_pending_alone() -> None:
    planes = night()
    pending = [(len, ())]
    with Rows(1) as rows:
        assert toned(planes, Tone(), DIAGONAL, rows, pending) is pending
        faint = Tone(sharpness=Sharpness(amount=1.0, radius=0.3))
        assert toned(planes, faint, 400.0, rows, pending) is pending


@pytest.mark.parametrize("name", ["lift", "compression"])
def test_no_halo_grows_beside_a_ridge_or_a_star(name: str) -> None:
    """Beside an edge the sky's gain stays near what it is far away."""
    y, _ = np.mgrid[0:200, 0:200]
    sky, land = 0.06, 0.002
    light = np.where(y < 120, sky, land).astype(np.float32)
    light[40, 100] = 1.0
    planes = np.stack([light] * 3)
    gain = np.log2(made(planes, EACH[name])[1] / light)
    far = gain[60:80, 10:30].mean()
    inner = gain[100:119, 50:150]
    assert np.abs(inner - far).max() < 0.25
    ring = gain[34:47, 94:107].copy()
    ring[4:9, 4:9] = far
    assert np.abs(ring - far).max() < 0.1
    land_far = gain[170:190, 10:30].mean()
    assert np.abs(gain[122:140, 50:150] - land_far).max() < 0.45


@pytest.mark.parametrize("amount", [1.0, -0.8])
def test_local_contrast_draws_no_glow_along_a_ridge(amount: float) -> None:
    """A sky nearly five stops above the land gained a glow of 0.2 stops, and the land a dark seam."""
    y, x = np.mgrid[0:300, 0:300]
    light = np.where(y < 150 + 8 * np.sin(x / 17), 0.25, 0.01).astype(np.float32)
    planes = np.stack([light] * 3)
    gain = np.log2(made(planes, Tone(local=LocalContrast(amount=amount)))[1] / light)
    assert np.abs(gain[:138]).max() < 0.09
    assert np.abs(gain[162:]).max() < 0.09


def test_colour_ratios_stay() -> None:
    planes = night()
    got = made(planes, EACH["all"])
    assert np.allclose(got[0] / got[1], planes[0] / planes[1], rtol=1e-5)


def test_local_contrast_strengthens_texture_and_spares_the_mean() -> None:
    random = np.random.default_rng(5)
    light = 0.1 * 2 ** random.normal(0, 0.1, (160, 160))
    planes = np.stack([light] * 3).astype(np.float32)
    stronger = made(planes, Tone(local=LocalContrast(amount=0.5)))
    before, after = np.log2(planes[1]), np.log2(stronger[1])
    assert 1.3 < after.std() / before.std() < 1.55
    assert abs(after.mean() - before.mean()) < 0.01
    softer = np.log2(made(planes, Tone(local=LocalContrast(amount=-0.9)))[1])
    assert softer.std() < 0.3 * before.std()


def test_the_surroundings_of_an_even_area_are_its_own_light() -> None:
    roots = np.full((60, 80), 0.5, np.float32)
    with Rows(1) as rows:
        slope, offset, halvings = surroundings(roots, DIAGONAL, rows)
    assert halvings == 1
    assert np.abs(slope * -2 + offset + 2).max() < 1e-5


def sharpened(planes: Planes, diagonal: float = 7200.0, **values: float) -> Planes:
    return made(planes, Tone(sharpness=Sharpness(**{"amount": 1.0, "floor": 0.0, **values})), diagonal)


def edge() -> Planes:
    x = np.arange(120)
    line = 0.1 + 0.3 / (1 + np.exp(-(x - 60) / 1.5))
    return np.broadcast_to(line, (3, 40, 120)).astype(np.float32).copy()


def test_an_edge_gets_steeper_with_bounded_overshoot() -> None:
    before, after = edge(), sharpened(edge(), radius=1.0)
    assert np.diff(after[1, 20]).max() > 1.15 * np.diff(before[1, 20]).max()
    assert after.max() < 0.4 * 1.15
    assert after.min() > 0.1 * 0.85


def test_flat_areas_stay() -> None:
    flat = np.full((3, 40, 50), 0.2, np.float32)
    assert np.allclose(sharpened(flat), flat, rtol=1e-5)


def test_noise_below_the_floor_is_left_alone() -> None:
    noisy = np.random.default_rng(1).normal(0.2, 0.01, (200, 200)).astype(np.float32)
    planes = np.stack([noisy] * 3)
    assert sharpened(planes, floor=4.0).std() < 1.01 * planes.std()
    assert sharpened(planes, floor=0.0).std() > 1.2 * planes.std()
