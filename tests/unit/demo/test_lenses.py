"""Pictures as a lens draws them: what undoes the lens gives the picture back."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import lenses
from archive.engine import operator
from archive.engine.decode import Decoded
from archive.engine.foundation import current_foundation
from archive.engine.pipeline import render_linear
from archive.model.product import PixelSpec
from archive.model.recipe import EffectiveRecipe


def grey_waves() -> np.ndarray:
    """Smooth light, grey, so that what a lens does to one colour is seen."""
    y, x = np.mgrid[0:320, 0:480]
    wave = 0.4 + 0.2 * np.sin(x / 19) * np.cos(y / 23)
    return np.repeat(wave[..., None], 3, axis=2).astype(np.float32)


def corrected(light: np.ndarray, name: str, values: dict[str, object]) -> np.ndarray:
    recipe = EffectiveRecipe(foundation=current_foundation(), base=(operator.checked(name, values),))
    return render_linear(Decoded(pixels=light), recipe, PixelSpec(fit=None))


@pytest.mark.parametrize("name", ["vignetting", "fall_off"])
def test_a_lens_darkens_corners_and_its_correction_brings_them_back_step_by_step(name: str) -> None:
    light = grey_waves()
    spoiled = lenses.drawn(light, name)
    away = [float(np.abs(spoiled - light).mean())]
    for _, values in lenses.undoing(name):
        away.append(float(np.abs(corrected(spoiled, name, dict(values)) - light).mean()))
    assert spoiled[0, 0, 1] < 0.5 * light[0, 0, 1]
    assert away == sorted(away, reverse=True)
    assert away[-1] < 1e-3


def test_fringes_of_colour_grow_outwards_and_are_gone_when_undone() -> None:
    light = grey_waves()
    spoiled = lenses.drawn(light, "lateral_colour")
    fringe = np.abs(spoiled[..., 0] - spoiled[..., 2])
    assert fringe[:, :40].mean() > 3 * fringe[:, 220:260].mean()
    made = corrected(spoiled, "lateral_colour", dict(lenses.undoing("lateral_colour")[-1][1]))
    assert np.abs(made[..., 0] - made[..., 2])[8:-8, 8:-8].max() < 0.1 * fringe.max()


def test_a_straight_line_is_bent_like_a_barrel_and_straight_again_when_undone() -> None:
    light = np.full((320, 480, 3), 0.1, np.float32)
    light[40:43] = 0.8

    def bow(picture: np.ndarray) -> float:
        """How much lower a line is at the left than in the middle, in pixels."""
        rows = np.arange(120)[:, None]
        upper = np.maximum(picture[:120, :, 1] - 0.15, 0)
        line = (rows * upper).sum(axis=0) / upper.sum(axis=0)
        return float(line[10] - line[picture.shape[1] // 2])

    spoiled = lenses.drawn(light, "distortion")
    bows = [bow(spoiled)]
    bows += [bow(corrected(spoiled, "distortion", dict(v))) for _, v in lenses.undoing("distortion")]
    assert bows[0] > 3
    assert bows == sorted(bows, reverse=True)
    assert abs(bows[-1]) < 0.3
