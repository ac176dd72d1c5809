"""Highlight compression where light clipped: cores of curtains, a lamp in the sky, a simulated outburst.

What is asked of it is common practice: bright tones keep their order and draw together, white stays neutral.
"""

from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import FULL, camera, frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.demo import cards
from archive.engine.decode import Decoded
from archive.engine.pipeline import render_linear

STRENGTHS = (0.1, 0.5, 1.0, 1.5, 2.0, 3.0)
Light = npt.NDArray[np.float32]


def compressed(decoded: Decoded, stops: float, *others: str) -> Light:
    return render_linear(decoded, recipe(*others, f"highlight_compression.stops={stops}"), FULL)


def ray(width: float) -> Decoded:
    """A clipped ray before a curtain 1.8 stops below it."""
    _, x = np.mgrid[0:300, 0:440]
    return grey(0.28 + 0.9 * np.exp(-(((x - 220) / width) ** 2)))


def lamp(radius: float) -> Decoded:
    """A clipped disc with a soft rim in a sky four stops below it."""
    y, x = np.mgrid[0:300, 0:440]
    return grey(2.0**-4 + 1.3 * np.exp(-((y - 150) ** 2 + (x - 220) ** 2) / (2 * radius**2)))


def grey(light: npt.NDArray[np.float64]) -> Decoded:
    return picture(np.repeat(np.minimum(light, 1)[..., None], 3, axis=-1).astype(np.float32))


@cache
def outburst() -> Decoded:
    """The simulated show at its brightest, without noise, through the invented camera, which it clips."""
    seen = cards.scene_light("north", 42, size=(480, 320)) @ np.linalg.inv(camera().to_srgb).T
    sample = np.clip(seen / camera().as_shot, 0, 1)
    y, x = np.mgrid[0:320, 0:480]
    mosaic = np.take_along_axis(sample, ((y % 2) + (x % 2))[..., None], axis=-1)[..., 0]
    return frame(np.round(BLACK + (WHITE - BLACK) * mosaic).astype(np.uint16))


PLAIN = {
    "a thin ray": ray(2), "a ray": ray(18), "a wide ray": ray(60),
    "a small lamp": lamp(3), "a lamp": lamp(12), "a wide lamp": lamp(30),
}  # fmt: skip


@pytest.mark.parametrize("name", PLAIN)
def test_a_clipped_core_comes_nearer_to_what_surrounds_it_the_stronger_the_compression(name: str) -> None:
    line = np.log2(render_linear(PLAIN[name], recipe(), FULL)[150, :, 1])
    apart, falling = line[220] - line[-1], -np.diff(line[220:]) > 0.02
    steepness = -np.diff(line[220:])
    for stops in STRENGTHS:
        made = np.log2(compressed(PLAIN[name], stops)[150, :, 1])
        assert made[220] - made[-1] < apart
        apart = made[220] - made[-1]
        # Nowhere an edge that was not there, nor a tone that changed its place.
        ratio = -np.diff(made[220:])[falling] / steepness[falling]
        assert ratio.min() > 0.3
        assert ratio.max() < 1.02
        assert (made <= line + 1e-5).all()
        # Beside the core a fiftieth of a stop is all that a flat part may rise towards the rim.
        assert np.diff(made[220:]).max() < 0.02
    assert line[220] - line[-1] - apart > 0.25


def test_the_outburst_draws_together_the_stronger_the_compression() -> None:
    before = render_linear(outburst(), recipe(), FULL)[..., 1]
    core, curtain = before > 0.95, (before > 0.12) & (before < 0.5)
    assert core.sum() > 100
    spread = np.log2(before[core].mean() / before[curtain].mean())
    for stops in STRENGTHS:
        made = compressed(outburst(), stops)[..., 1]
        assert np.log2(made[core].mean() / made[curtain].mean()) < spread
        spread = np.log2(made[core].mean() / made[curtain].mean())
    # With exposure there is room above white: what was clipped comes down by all of it, and stays white.
    raised = compressed(outburst(), 1.0, "exposure.stops=1")[..., 1]
    assert 1 <= np.median(raised[core] / before[core]) < 1.2


@pytest.mark.parametrize("stops", STRENGTHS)
def test_clipped_white_stays_neutral_and_never_gets_as_dull_as_a_stop_below(stops: float) -> None:
    mosaic = np.full((120, 160), (WHITE + 3 * BLACK) // 4, np.uint16)
    mosaic[20:50, 30:90] = WHITE
    mosaic[80:90, 100:110] = WHITE
    made = compressed(frame(mosaic), stops)
    for core in (made[25:45, 35:85], made[84:86, 104:106]):
        assert np.ptp(core, axis=-1).max() < 2e-3
        assert 0.55 < core.min() <= core.max() < 1
