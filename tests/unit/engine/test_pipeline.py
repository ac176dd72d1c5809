"""Rendering as a whole; what holds for every operator is tested over the registry."""

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from skimage import color as lab
from support.recipes import DARK, FULL, STRONG, camera, frame, picture, recipe
from support.tinydng import BLACK, WHITE, night_mosaic

from archive.engine import colour, operator
from archive.engine.darkframe import MasterDark, master_dark
from archive.engine.declaration import registry
from archive.engine.decode import Decoded
from archive.engine.pipeline import render, render_linear
from archive.errors import ArchiveError
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe, OperatorValues

EVERY = sorted(registry)
# Operators that show less of the frame.
RESHAPING = ("crop", "distortion", "lateral_colour", "straighten")
SMALL = PixelSpec(fit=(120, 120), bits=8)


def master() -> MasterDark:
    """The dark frames of the hot frame's camera: a glow of forty counts above black."""
    shot = hot_frame()
    return master_dark([replace(shot, pixels=np.full(shot.pixels.shape, 40 + int(shot.black[0]), np.uint16))])


def with_values(values: OperatorValues) -> EffectiveRecipe:
    return replace(recipe(), base=(values,))


def everything() -> EffectiveRecipe:
    base = tuple(operator.checked(name, values) for name, values in STRONG.items())
    return replace(recipe(), base=base)


def hot_frame() -> Decoded:
    mosaic = night_mosaic()
    mosaic[40, 60] = 9000
    return frame(mosaic)


def encoded(light: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
    return np.asarray(lab.rgb2lab(colour.srgb_encode(np.clip(light, 0, 1))))


def difference(one: npt.NDArray[Any], other: npt.NDArray[Any]) -> float:
    """Mean CIEDE2000 of two linear pictures."""
    return float(lab.deltaE_ciede2000(encoded(one), encoded(other)).mean())


def averaged(light: npt.NDArray[Any], size: int) -> npt.NDArray[Any]:
    height, width = light.shape[0] // size, light.shape[1] // size
    return np.asarray(
        light[: height * size, : width * size].reshape(height, size, width, size, 3).mean(axis=(1, 3))
    )


@pytest.mark.parametrize(("name", "version"), EVERY)
@pytest.mark.parametrize("fit", [None, (120, 120)])
def test_neutral_values_change_no_bit(name: str, version: int, fit: tuple[int, int] | None) -> None:
    pixels = PixelSpec(fit=fit, bits=16)
    plain = render(hot_frame(), recipe(), pixels)
    neutral = with_values(operator.checked(name, {}, version=version))
    assert np.array_equal(render(hot_frame(), neutral, pixels), plain)
    if registry[name, version].finish:
        finish = replace(recipe(), finish=(operator.checked(name, {}, version=version),))
        assert np.array_equal(render(hot_frame(), finish, pixels), plain)


@pytest.mark.parametrize(("name", "version"), EVERY)
def test_strong_values_change_something_and_keep_the_kind(name: str, version: int) -> None:
    values = operator.checked(name, (STRONG | DARK)[name], version=version)
    assert not operator.is_neutral(values)
    plain = render(hot_frame(), recipe(), FULL)
    made = render(hot_frame(), with_values(values), FULL, dark=master())
    assert made.dtype == np.uint16
    assert made.ndim == 3
    if registry[name, version].family not in ("framing", "lens"):
        assert made.shape == plain.shape
    assert made.shape != plain.shape or not np.array_equal(made, plain)


@pytest.mark.parametrize(("name", "version"), EVERY)
def test_strong_values_leave_light_finite(name: str, version: int) -> None:
    values = operator.checked(name, (STRONG | DARK)[name], version=version)
    light = render_linear(hot_frame(), with_values(values), FULL, dark=master())
    assert light.dtype == np.float32
    assert np.isfinite(light).all()


@pytest.mark.parametrize("fit", [None, (150, 150)])
def test_any_number_of_threads_makes_the_same_picture(fit: tuple[int, int] | None) -> None:
    pixels = PixelSpec(fit=fit)
    one = render(hot_frame(), everything(), pixels, threads=1)
    assert np.array_equal(one, render(hot_frame(), everything(), pixels, threads=1))
    assert np.array_equal(one, render(hot_frame(), everything(), pixels, threads=3))


def test_one_stop_doubles_light() -> None:
    plain = render_linear(frame(), recipe(), FULL)
    assert np.array_equal(render_linear(frame(), recipe("exposure.stops=1"), FULL), plain * 2)
    third = render_linear(frame(), recipe("exposure.stops=-0.5"), FULL)
    assert np.allclose(third, plain * 2**-0.5, rtol=1e-6)


def test_a_flat_grey_field_comes_out_as_its_light() -> None:
    shot = camera().as_shot
    light = 0.3
    y, x = np.mgrid[0:48, 0:64]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    counts = np.round(light / shot[channel] * (WHITE - BLACK) + BLACK).astype(np.uint16)
    for pixels in (FULL, PixelSpec(fit=(16, 16), bits=16)):
        made = render_linear(frame(counts), recipe(), pixels)
        assert np.allclose(made, light, atol=2e-4)


def test_clipped_light_is_neutral_white() -> None:
    made = render(frame(np.full((40, 60), WHITE, np.uint16)), recipe(), FULL)
    assert (made == 65535).all()
    recovered = render_linear(
        frame(np.full((40, 60), WHITE, np.uint16)), recipe("highlight_recovery.stops=1"), FULL
    )
    assert np.ptp(recovered, axis=-1).max() < 1e-3


def test_the_rim_of_a_clipped_disc_has_no_magenta() -> None:
    y, x = np.mgrid[0:160, 0:160]
    light = np.clip(3.0 * np.exp(-((y - 80) ** 2 + (x - 80) ** 2) / 900), 0.05, None)
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    counts = np.clip(light / camera().as_shot[channel], 0, 1) * (WHITE - BLACK) + BLACK
    decoded = frame(np.round(counts).astype(np.uint16))
    for settings in ((), ("highlight_recovery.stops=1",)):
        for pixels in (FULL, PixelSpec(fit=(40, 40), bits=16)):
            made = render_linear(decoded, recipe(*settings), pixels).astype(np.float64)
            magenta = np.minimum(made[..., 0], made[..., 2]) - made[..., 1]
            assert magenta.max() < 0.03


def test_colours_outside_srgb_keep_their_structure_and_those_inside_their_bits() -> None:
    ramp = np.linspace(0.02, 0.6, 64, dtype=np.float32)
    aurora = np.stack([-0.25 * ramp, ramp, 0.1 * ramp], axis=-1)[None].repeat(8, axis=0)
    made = render(picture(aurora), recipe(), FULL)[0].astype(int)
    assert (np.diff(made[:, 1]) > 0).all()
    inside = np.random.default_rng(5).uniform(0, 1, (16, 16, 3)).astype(np.float32)
    expected = np.floor(colour.srgb_encode(inside) * 65535 + 0.5)
    assert np.abs(render(picture(inside), recipe(), FULL) - expected).max() <= 1


def test_an_8_bit_picture_survives_a_neutral_recipe_exactly() -> None:
    codes = np.random.default_rng(6).integers(0, 256, (40, 50, 3))
    light = colour.srgb_decode(codes / 255).astype(np.float32)
    assert np.array_equal(render(picture(light), recipe(), PixelSpec(fit=None)), codes)


def test_dithering_spreads_a_smooth_sky_without_bias() -> None:
    ramp = np.linspace(0.010, 0.012, 512, dtype=np.float32)
    sky = np.broadcast_to(ramp[None, :, None], (256, 512, 3))
    made = render(picture(sky), recipe(), PixelSpec(fit=None)).astype(np.float64)
    expected = colour.srgb_encode(ramp) * 255
    assert np.abs(made.mean(axis=(0, 2)) - expected).max() < 0.12
    assert len(np.unique(made[:, 200])) == 2


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_to_pixels_and_crop(orientation: int) -> None:
    from archive.engine.framing import upright

    light = np.random.default_rng(7).uniform(0, 1, (40, 60, 3)).astype(np.float32)
    made = render_linear(
        picture(light, orientation=orientation), recipe("crop.left=0.25", "crop.top=0.5"), FULL
    )
    turned = np.moveaxis(upright(np.moveaxis(light, -1, 0), orientation), 0, -1)
    height, width = turned.shape[:2]
    assert np.array_equal(made, turned[round(height * 0.5) :, round(width * 0.25) :])


def test_a_small_rendering_looks_like_the_large_one_made_smaller() -> None:
    decoded = frame(night_mosaic(480, 720))
    for settings in (
        (),
        ("exposure.stops=1", "shadow_lift.stops=2", "contrast.amount=0.3", "vignetting.corner=1"),
    ):
        large = render_linear(decoded, recipe(*settings), FULL)
        small = render_linear(decoded, recipe(*settings), PixelSpec(fit=(180, 120), bits=16))
        assert small.shape == (120, 180, 3)
        assert difference(averaged(large, 4), small) < 1


def test_every_pattern_of_colours_gives_the_same_picture() -> None:
    y, x = np.mgrid[0:120, 0:160]
    scene = np.stack(
        [0.2 + 0.15 * np.sin(x / 9), 0.3 + 0.1 * np.cos(y / 7), 0.25 + 0.1 * np.sin((x + y) / 11)], axis=-1
    )
    made = []
    for pattern in ((0, 1, 1, 2), (1, 0, 2, 1), (1, 2, 0, 1), (2, 1, 1, 0)):
        channel = np.array(pattern).reshape(2, 2)[y % 2, x % 2]
        light = np.take_along_axis(scene, channel[..., None], axis=-1)[..., 0] / camera().as_shot[channel]
        counts = np.round(light * (WHITE - BLACK) + BLACK).astype(np.uint16)
        for pixels in (FULL, PixelSpec(fit=(40, 30), bits=16)):
            made.append(render_linear(frame(counts, pattern=pattern), recipe(), pixels))
    for other in made[2::2]:
        assert np.abs(other - made[0])[8:-8, 8:-8].max() < 0.02
    for other in made[3::2]:
        assert np.abs(other - made[1])[2:-2, 2:-2].max() < 0.005


def test_finish_steps_apply_in_their_order_and_may_repeat() -> None:
    steps = [operator.checked("contrast", {"amount": 0.3, "pivot": pivot}) for pivot in (-2.0, -5.0)]
    forward = render_linear(frame(), recipe(finish=(steps[0], steps[1])), FULL)
    backward = render_linear(frame(), recipe(finish=(steps[1], steps[0])), FULL)
    assert not np.array_equal(forward, backward)
    twice = render_linear(frame(), recipe(finish=(steps[0], steps[0])), FULL)
    assert not np.array_equal(twice, render_linear(frame(), recipe(finish=(steps[0],)), FULL))


# Thresholds, choices, and what moves pixels have no beginning that changes little.
SUDDEN = ("balance", "dark_frame", "distortion", "hot_pixels", "lateral_colour")
GRADUAL = sorted(
    (name, parameter.name)
    for (name, _), declared in registry.items()
    if declared.family != "framing" and name not in SUDDEN
    for parameter in declared.parameters
    if parameter.name in declared.strength
)


@pytest.mark.parametrize(("name", "parameter"), GRADUAL)
def test_every_strength_sets_in_gradually_so_that_a_ramp_may_begin_at_nothing(
    name: str, parameter: str
) -> None:
    """Half a thousandth of the range away from nothing, no pixel of a night differs by an 8-bit step."""
    declared = next(each for (known, _), each in registry.items() if known == name)
    about = next(each for each in declared.parameters if each.name == parameter)
    little = {"radius": 4.0} if name == "sharpness" else {}
    little[parameter] = float(about.default) + (about.high - about.low) / 2000
    plain = render(frame(night_mosaic()), recipe(), FULL).astype(float)
    made = render(frame(night_mosaic()), with_values(operator.checked(name, little)), FULL).astype(float)
    assert 0 < np.abs(made - plain).max() < 257


def vignetted(light: float, corner: float) -> Decoded:
    """A noisy grey field that falls off by so many stops towards the corners."""
    random = np.random.default_rng(9)
    y, x = np.mgrid[0:400, 0:600]
    squared = ((x - 299.5) ** 2 + (y - 199.5) ** 2) / (299.5**2 + 199.5**2)
    level = light * 2 ** (-corner * squared)
    noisy = random.normal(level, np.sqrt(4e-4 * level + 1e-6))
    return frame(np.clip(np.round(noisy * (WHITE - BLACK) + BLACK), 0, WHITE).astype(np.uint16))


def test_corners_are_evened_after_their_noise_is_gone_and_are_as_calm_as_the_centre() -> None:
    """Evened first, they would be noisier than what is taken for noise, and keep most of it.

    Beside their centre they keep at most 1.5 times the noise that the sensor itself gave them beside its.
    """
    calm = ("luminance_noise.strength=4", "colour_noise.strength=7")
    decoded = vignetted(0.05, 2.5)
    raw = render_linear(decoded, recipe("vignetting.corner=2.5"), FULL)[..., 1]
    made = render_linear(decoded, recipe("vignetting.corner=2.5", *calm), FULL)[..., 1]
    corners = [np.s_[y : y + 56, x : x + 56] for y in (4, 340) for x in (4, 540)]
    centres = [np.s_[y : y + 56, x : x + 56] for y in (144, 200) for x in (244, 300)]

    def grain(part: npt.NDArray[Any]) -> float:
        level = part.mean(axis=0) + part.mean(axis=1)[:, None] - part.mean()
        return float((part - level).std() / part.mean())

    corner, centre = (
        np.mean([grain(made[part]) / grain(raw[part]) for part in parts]) for parts in (corners, centres)
    )
    assert corner < 1.5 * centre
    plain = render_linear(decoded, recipe(*calm), FULL)[..., 1]
    assert np.allclose(
        (made / plain)[2, 2:598:99],
        (raw / render_linear(decoded, recipe(), FULL)[..., 1])[2, 2:598:99],
        rtol=1e-4,
    )


def test_only_operators_made_for_it_can_be_finish_steps() -> None:
    with pytest.raises(ArchiveError, match="exposure cannot be a finish step"):
        render(frame(), recipe(finish=(operator.checked("exposure", {"stops": 1}),)), SMALL)


def test_what_this_release_does_not_know_is_refused_by_name() -> None:
    glow = OperatorValues(name="glow", version=2, values={})
    with pytest.raises(ArchiveError, match="glow version 2") as caught:
        render(frame(), with_values(glow), SMALL)
    assert "a newer release is needed" in caught.value.hint
    future = replace(recipe(), foundation=replace(recipe().foundation, generation=9))
    with pytest.raises(ArchiveError, match="generation 9"):
        render(frame(), future, SMALL)
    with pytest.raises(ArchiveError, match="12 bits"):
        render(frame(), recipe(), PixelSpec(fit=None, bits=12))


@pytest.mark.parametrize(("height", "width"), [(1, 1), (2, 2), (3, 5), (7, 9), (9, 4), (33, 17)])
@pytest.mark.parametrize("fit", [None, (3, 3), (1, 1)])
def test_tiny_and_odd_frames_render_with_everything_on(
    height: int, width: int, fit: tuple[int, int] | None
) -> None:
    mosaic = night_mosaic(40, 40)[:height, :width]
    calm = replace(everything(), base=tuple(v for v in everything().base if v.name not in RESHAPING))
    made = render(frame(np.ascontiguousarray(mosaic)), calm, PixelSpec(fit=fit))
    assert made.shape[2] == 3
    if fit is None:
        assert made.shape[:2] == (height, width)


def test_balance_makes_the_stated_light_neutral() -> None:
    white = colour.daylight_xy(7500)
    light = colour.XYZ_TO_SRGB @ colour.xyz_of(white) * 0.2
    field = np.broadcast_to(light.astype(np.float32), (8, 8, 3))
    made = render_linear(picture(field), recipe("balance.source=daylight", "balance.kelvin=7500"), FULL)
    assert np.ptp(made, axis=-1).max() < 1e-5
