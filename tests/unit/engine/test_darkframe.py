"""Dark frames: a robust master, and a mosaic without it."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from support.plain import mosaic as plain
from support.recipes import FULL, frame, picture, recipe
from support.tinydng import BLACK, WHITE, night_mosaic

from archive.engine.darkframe import MasterDark, darkened, light_in, master_dark
from archive.engine.decode import Decoded
from archive.engine.kernels.rows import Rows
from archive.engine.operators.sensor import DarkFrame
from archive.engine.pipeline import render
from archive.errors import ArchiveError

NAMED = "dark_frame.frames=xxh128:a96faf705af16834e6c632b61e964e1f"
HEIGHT, WIDTH = 60, 80


def glow() -> npt.NDArray[np.float64]:
    """Counts in the dark: an amplifier glowing in one corner, and a few hot samples."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    counts = 300 * np.exp(-((x - WIDTH) ** 2 + (y - HEIGHT) ** 2) / 800)
    counts[5, 7], counts[30, 41] = 4000, 2500
    return counts


def dark(seed: int, hit: tuple[int, int] | None = None) -> npt.NDArray[np.uint16]:
    counts = np.random.default_rng(seed).normal(BLACK + glow(), 5)
    if hit:
        counts[hit] += 9000
    return np.round(np.clip(counts, 0, 65535)).astype(np.uint16)


def taken(light: npt.NDArray[np.uint16], master: MasterDark, share: float = 1.0) -> npt.NDArray[np.uint16]:
    with Rows(1) as rows:
        made = darkened(frame(light), master, DarkFrame(frames="named", share=share), rows).pixels
    assert made.dtype == np.uint16
    return made.astype(np.uint16)


def test_a_master_is_what_the_sensor_holds_in_the_dark_and_a_cosmic_ray_is_left_out() -> None:
    master = master_dark(frame(dark(seed, (20, 20) if seed == 3 else None)) for seed in range(10))
    left = master.counts - glow()
    assert np.abs(left).max() < 12
    assert abs(float(left.mean())) < 0.2
    assert float(left.std()) < 5 / np.sqrt(8) * 1.1
    assert abs(float(left[20, 20])) < 12


def test_two_frames_are_averaged_and_three_give_the_middle() -> None:
    flat = [frame(np.full((8, 10), BLACK + value, np.uint16)) for value in (10, 20, 90)]
    assert np.all(master_dark(flat[:1]).counts == 10)
    assert np.all(master_dark(flat[:2]).counts == 15)
    assert np.all(master_dark(flat).counts == 20)


def test_glow_and_hot_samples_go_and_light_stays() -> None:
    sky = BLACK + 700 + 100 * np.mgrid[0:HEIGHT, 0:WIDTH][1] / WIDTH
    light = np.round(sky + glow()).astype(np.uint16)
    made = taken(light, master_dark(frame(dark(seed)) for seed in range(8)))
    assert np.abs(made - sky).max() < 10
    half = taken(light, master_dark(frame(dark(seed)) for seed in range(8)), share=0.5)
    assert np.abs(half - sky - glow() / 2).max() < 10


def test_clipped_samples_stay_clipped_and_none_falls_below_zero() -> None:
    light = np.full((HEIGHT, WIDTH), WHITE, np.uint16)
    master = master_dark([frame(dark(1))])
    assert np.all(taken(light, master) == WHITE)
    assert taken(np.zeros((HEIGHT, WIDTH), np.uint16), master).min() == 0


@pytest.mark.parametrize("share", [0.01, 0.37, 1.0, 2.0])
def test_what_is_left_is_what_plain_arithmetic_leaves(share: float) -> None:
    """Exactly, as all are whole numbers; parts of a count lie no nearer to a half than float32 can tell."""
    random = np.random.default_rng(4)
    light = random.integers(0, 65536, (HEIGHT, WIDTH)).astype(np.uint16)
    light[::7] = WHITE - np.arange(WIDTH) % 3
    counts = np.round(random.normal(40, 300, light.shape) * 8) / 8 + 0.03
    master = MasterDark(counts=counts.astype(np.float32), pattern=(0, 1, 1, 2))
    assert np.array_equal(taken(light, master, share), plain.darkened(light, counts, share, WHITE))


def test_dark_frames_of_another_kind_are_refused() -> None:
    small = frame(np.full((8, 10), BLACK, np.uint16))
    with pytest.raises(ArchiveError, match="different sizes"):
        master_dark([frame(dark(1)), small])
    with pytest.raises(ArchiveError, match="dark frame 1 is no raw mosaic"):
        master_dark([picture(np.zeros((8, 10, 3), np.float32))])
    with pytest.raises(ArchiveError, match="names no dark frames"):
        master_dark([])
    with pytest.raises(ArchiveError, match="another sensor"):
        taken(dark(1), master_dark([small]))


def test_a_frame_with_light_in_it_is_no_dark_frame() -> None:
    """Else a picture would be subtracted from itself, and come out black without a word."""
    night = frame(night_mosaic(HEIGHT, WIDTH))
    darks = [frame(dark(1)), night, frame(dark(2))]
    with pytest.raises(ArchiveError, match=r"NOCT0007\.DNG is not dark.* above black") as caught:
        master_dark(darks, ["NOCT0006.DNG", "NOCT0007.DNG", "NOCT0008.DNG"])
    assert "Nothing was rendered, and no master was changed" in caught.value.hint
    with pytest.raises(ArchiveError, match="dark frame 2 is not dark"):
        master_dark(darks)


def test_light_is_told_from_glow_warmth_and_noise() -> None:
    random = np.random.default_rng(5)
    span = WHITE - BLACK

    def shot(share: float, sigma: float) -> Decoded:
        mosaic = random.normal(BLACK + share * span, sigma, (256, 320))
        return frame(np.round(np.clip(mosaic, 0, WHITE)).astype(np.uint16))

    assert light_in(frame(dark(1))) is None
    assert light_in(shot(0.0, 5)) is None
    assert light_in(shot(0.015, 10)) is None, "a warm sensor"
    assert light_in(shot(0.03, 10)) == pytest.approx(0.03, abs=1e-3)
    assert light_in(shot(0.03, 120)) is None, "nobody can tell light from so much noise"
    assert light_in(shot(0.09, 120)) == pytest.approx(0.09, abs=2e-3)
    # One colour is enough: the glow of a red lamp.
    mosaic = np.full((60, 80), BLACK, np.uint16)
    mosaic[::2, ::2] += 600
    assert light_in(frame(mosaic)) == pytest.approx(600 / span)
    assert light_in(picture(np.zeros((8, 10, 3), np.float32))) == 1.0


def test_each_dark_frame_counts_from_its_own_black() -> None:
    """Some cameras measure their black anew for each shot."""
    shots = []
    for value, black in ((522, 512), (533, 513), (541, 511.5)):
        shot = frame(np.full((8, 10), value, np.uint16))
        shots.append(replace(shot, black=(float(black),) * 4))
    assert np.all(master_dark(shots[:2]).counts == 15)
    assert np.all(master_dark(shots).counts == 20)
    light = replace(frame(np.full((8, 10), 713, np.uint16)), black=(513.0,) * 4)
    with Rows(1) as rows:
        made = darkened(light, master_dark(shots), DarkFrame(frames="named"), rows)
    assert np.all(made.pixels == 693)
    assert made.black == light.black


def test_a_recipe_that_names_dark_frames_is_not_rendered_without_them() -> None:
    with pytest.raises(ArchiveError, match="were not given") as caught:
        render(frame(), recipe(NAMED), FULL)
    assert "noctuary darks" in caught.value.hint
    mosaic = night_mosaic()
    master = master_dark([frame(np.full_like(mosaic, BLACK))])
    assert np.array_equal(render(frame(), recipe(NAMED), FULL, dark=master), render(frame(), recipe(), FULL))
