"""Fall-off measured from frames of an even surface."""

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import frame, picture
from support.tinydng import BLACK, WHITE

from archive.engine.decode import Decoded
from archive.engine.lensmeasure import measure_fall_off
from archive.errors import ArchiveError

HEIGHT, WIDTH = 400, 600
TRUTH = (-0.62, 0.16, -0.02)


def squared() -> npt.NDArray[np.float64]:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    return np.asarray(((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / ((WIDTH / 2) ** 2 + (HEIGHT / 2) ** 2))


def fallen(terms: tuple[float, ...] = TRUTH) -> npt.NDArray[np.float64]:
    return np.asarray(1 + sum(k * squared() ** power for power, k in enumerate(terms, 1)))


def flat(level: float = 0.5, *, slope: float = 0.0, seed: int = 1, dust: bool = False) -> Decoded:
    light = level * fallen() * (1 + slope * (np.mgrid[0:HEIGHT, 0:WIDTH][1] / WIDTH - 0.5))
    if dust:
        light[100:130, 200:230] *= 0.5
    electrons = np.random.default_rng(seed).poisson(np.maximum(light, 0) * 20000)
    counts = electrons / 20000 * (WHITE - BLACK) + BLACK
    return frame(np.round(counts).clip(0, WHITE).astype(np.uint16))


@pytest.mark.parametrize(
    "frames",
    [[flat()], [flat(slope=0.08)], [flat(0.4, seed=2), flat(0.6, slope=-0.05, seed=3)], [flat(dust=True)]],
    ids=["one", "lit from a side", "two of different light", "with dust"],
)
def test_a_known_fall_off_is_found_to_a_percent_everywhere(frames: list[Decoded]) -> None:
    found = measure_fall_off(frames)
    made = fallen((found.values["k1"], found.values["k2"], found.values["k3"]))
    assert np.abs(made / fallen() - 1).max() < 0.01
    assert found.corner == pytest.approx(1 + sum(TRUTH), abs=0.01)
    assert found.left < 0.01
    assert found.frames == len(frames)


@pytest.mark.parametrize(
    ("frames", "why"),
    [
        ([], "no frame"),
        ([flat(1.5)], "clipped"),
        ([flat(0.01)], "too dark"),
        ([picture(np.full((400, 600, 3), 0.5, np.float32))], "no raw"),
        ([frame(np.full((16, 16), 3000, np.uint16))], "too small"),
    ],
)
def test_frames_that_show_no_fall_off_are_refused(frames: list[Decoded], why: str) -> None:
    with pytest.raises(ArchiveError, match=why) as caught:
        measure_fall_off(frames)
    assert "blank surface" in caught.value.hint


def test_what_is_no_even_surface_is_refused() -> None:
    stripes = 0.4 + 0.2 * np.sin(np.mgrid[0:HEIGHT, 0:WIDTH][1] / 30)
    counts = np.round(stripes * (WHITE - BLACK) + BLACK).astype(np.uint16)
    with pytest.raises(ArchiveError, match="unevenness"):
        measure_fall_off([frame(counts)])
