"""The aurora's behaviour over the night and in the picture."""

from __future__ import annotations

import numpy as np
import pytest

from archive.demo import aurora


@pytest.fixture(scope="module")
def curtains() -> aurora.Curtains:
    return aurora.Curtains(160, 120, 0.9, -9.0, 7)


def level(curtains: aurora.Curtains, share: float) -> float:
    return float(curtains.light(aurora.mood(960 * share, 960))[..., 1].mean())


def test_a_quiet_arc_bursts_and_fades(curtains: aurora.Curtains) -> None:
    quiet, burst, late = level(curtains, 0.1), level(curtains, 0.47), level(curtains, 0.97)
    assert burst > 3 * quiet
    assert late < burst / 4


def test_light_is_finite_and_never_negative(curtains: aurora.Curtains) -> None:
    for share in (-0.2, 0.0, 0.45, 0.8, 1.4):
        light = curtains.light(aurora.mood(960 * share, 960))
        assert light.shape == (120, 160, 3) and light.dtype == np.float32
        assert np.isfinite(light).all() and light.min() >= 0


def test_it_is_mostly_green_with_crimson_above(curtains: aurora.Curtains) -> None:
    light = curtains.light(aurora.mood(100, 960)).astype(np.float64)
    rows = light.mean(axis=1)
    brightest = int(rows[:, 1].argmax())
    assert rows[brightest, 1] > 2 * rows[brightest, 0]
    ratio = rows[:, 0] / rows[:, 1]
    assert ratio[:10].mean() > 2 * ratio[brightest]


def test_a_thin_magenta_seam_runs_along_the_lower_border_of_bright_curtains() -> None:
    """No spots below single rays: most columns have it, a few rows of it, right below the green."""
    made = aurora.Curtains(480, 360, 0.9, -9.0, 7)
    light = made.light(aurora.mood(960 * 0.4, 960)).astype(np.float64)
    green, both = light[..., 1], np.minimum(light[..., 0], light[..., 2])
    seam = (both > 0.7 * green) & (both > 0.1)
    rows = seam.sum(axis=0)
    assert (rows > 0).mean() > 0.55
    assert np.median(rows[rows > 0]) < 6
    columns = np.flatnonzero((rows > 0) & (rows < 9))
    middle = np.array([round(float(np.flatnonzero(seam[:, column]).mean())) for column in columns])
    above, below = green[np.maximum(middle - 10, 0), columns], green[np.minimum(middle + 10, 359), columns]
    assert np.mean(above > 1.5 * below) > 0.8


def test_neighbouring_frames_are_alike_and_distant_ones_are_not(curtains: aurora.Curtains) -> None:
    def picture(seconds: float) -> np.ndarray:
        light = curtains.light(aurora.mood(seconds, 960))[..., 1].ravel().astype(np.float64)
        return np.log(light + 0.02)

    for seconds in (100, 400, 450, 800):
        near = np.corrcoef(picture(seconds), picture(seconds + 10))[0, 1]
        assert near > 0.93
    assert np.corrcoef(picture(100), picture(900))[0, 1] < 0.85


def test_clocks_only_run_forward_and_nothing_jumps() -> None:
    moods = [aurora.mood(seconds, 960) for seconds in range(0, 1200, 2)]
    phases = np.array([(state.phase, state.ray_phase) for state in moods])
    steps = np.diff(phases, axis=0)
    assert (steps > 0).all()
    assert steps.max() < 0.1
    powers = np.array([[arc[1] for arc in state.arcs] for state in moods])
    assert powers.min() >= 0
    assert np.abs(np.diff(powers, axis=0)).max() < 0.01


def test_another_seed_is_another_aurora(curtains: aurora.Curtains) -> None:
    other = aurora.Curtains(160, 120, 0.9, -9.0, 8)
    state = aurora.mood(400, 960)
    assert np.abs(curtains.light(state) - other.light(state)).mean() > 0.02


def test_a_blur_keeps_the_amount_of_light() -> None:
    picture = np.zeros((60, 80, 3), np.float32)
    picture[30, 40] = 1.0
    for sigma in (0.7, 2.0, 6.0):
        assert aurora.blurred(picture, sigma).sum() == pytest.approx(3.0, rel=0.05)
