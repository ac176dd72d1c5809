"""Green and red of the aurora in cells that are known."""

from __future__ import annotations

import numpy as np
import pytest
from support.surveys import measures

from archive.engine.excess import green_excess, red_excess
from archive.model.survey import Cells


def test_excess_counts_only_what_is_greener_than_grey() -> None:
    even = measures(light=0.02).cells
    assert green_excess(even) == 0
    assert green_excess(measures(light=0.02, green=0.01).cells) == pytest.approx(0.005)


def test_red_is_what_neither_green_light_nor_dusk_nor_the_sky_of_a_cell_brings() -> None:
    random = np.random.default_rng(3)
    sky = random.uniform(0.001, 0.02, (3, 96))
    green, crimson, dusk = random.uniform(0, 0.1, (3, 40, 96)) * np.array([1, 0.2, 0.3])[:, None, None]
    # Curtains cover a third of the cells at a time, red tops half of these.
    green *= random.random((40, 96)) < 0.3
    crimson *= (green > 0) & (random.random((40, 96)) < 0.5)
    gains = random.choice([0.0, 1.0, 2.5], 40)
    light = np.stack([sky[0] + 0.3 * green + crimson + dusk, sky[1] + green + dusk, sky[2] + dusk], axis=1)
    light *= 2.0 ** gains[:, None, None]
    frames = [Cells(columns=12, rows=8, red=tuple(r), green=tuple(g), blue=tuple(b)) for r, g, b in light]
    found = np.array(red_excess(frames, gains.tolist()))
    assert np.corrcoef(found, crimson.mean(axis=1))[0, 1] > 0.95
    assert red_excess(frames[:1], [0.0]) == [0.0]
