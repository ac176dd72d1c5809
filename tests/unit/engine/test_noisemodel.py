"""Noise measured from a frame."""

import numpy as np
import pytest

from archive.engine import noisemodel
from archive.engine.kernels.rows import Rows

BLACKS = np.full(4, 512, np.float32)
SPAN = 15000 - 512
SCALES = np.full(4, 1 / SPAN, np.float32)


def field(gain: float, read: float, *, stars: bool) -> np.ndarray:
    random = np.random.default_rng(4)
    light = np.linspace(0.005, 0.5, 768)[None, :].repeat(512, axis=0)
    if stars:
        for _ in range(400):
            light[random.integers(512), random.integers(768)] += random.uniform(0.05, 1)
    counts = random.normal(light, np.sqrt(gain * light + read)) * SPAN + 512
    return np.clip(np.round(counts), 0, 15000).astype(np.uint16)


@pytest.mark.parametrize("stars", [False, True])
@pytest.mark.parametrize(("gain", "read"), [(1e-4, 1e-6), (1e-3, 1e-5)])
def test_gain_and_read_noise_are_found_stars_or_not(gain: float, read: float, stars: bool) -> None:
    with Rows(1) as rows:
        model = noisemodel.measure(field(gain, read, stars=stars), BLACKS, SCALES, rows)
    for light in (0.01, 0.1, 0.4):
        assert model.sigma(light) == pytest.approx(np.sqrt(gain * light + read), rel=0.12)


def test_a_tiny_frame_gets_the_typical_model() -> None:
    with Rows(1) as rows:
        assert noisemodel.measure(np.zeros((40, 40), np.uint16), BLACKS, SCALES, rows) == noisemodel.TYPICAL


def test_the_root_of_light_is_equally_noisy_with_the_offset() -> None:
    model = noisemodel.NoiseModel(gain=1e-3, read=1e-5)
    random = np.random.default_rng(5)
    spreads = []
    for light in (0.02, 0.1, 0.5):
        noisy = random.normal(light, model.sigma(light), 200_000)
        spreads.append(np.sqrt(np.maximum(noisy + model.root_offset, 0)).std())
    assert max(spreads) / min(spreads) < 1.05
