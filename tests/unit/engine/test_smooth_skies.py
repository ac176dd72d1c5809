"""The histogram of a smooth sky at 8 bits has neither gaps nor steps, plain or edited.

What is expected of each number is worked out in float64 from the same picture at 16 bits: a value between two
numbers goes to each in proportion to how near it is, so that the sky's own smooth distribution remains.
"""

import numpy as np
import numpy.typing as npt
import pytest
from support.recipes import frame, picture, recipe
from support.tinydng import BLACK, WHITE

from archive.engine.decode import Decoded
from archive.engine.pipeline import render
from archive.model.product import PixelSpec

HEIGHT, WIDTH = 360, 540
EDITS = {
    "plain": (),
    "contrast and exposure": ("exposure.stops=1.3", "contrast.amount=0.5"),
    "lift": ("shadow_lift.stops=2.5",),
    "everything on tones": (
        "exposure.stops=0.7", "shadow_lift.stops=1.5", "highlight_compression.stops=1", "contrast.amount=0.3",
        "chroma.amount=0.4", "local_contrast.amount=0.4",
    ),
}  # fmt: skip


def glow() -> npt.NDArray[np.float64]:
    """Light of a clear night sky that brightens towards a horizon, one to eight percent of clipping."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    return np.asarray(0.01 + 0.07 * (y / HEIGHT) ** 1.3 * (1 + 0.15 * x / WIDTH))


def sky(kind: str) -> Decoded:
    if kind == "picture":
        return picture((glow()[..., None] * [0.8, 1.0, 1.1]).astype(np.float32))
    counts = glow() * (WHITE - BLACK) + BLACK
    if kind == "mosaic at ISO 800":
        # Some 15 000 electrons at clipping, and 3 of read noise.
        per_electron = (WHITE - BLACK) / 15_000
        noise = np.sqrt((counts - BLACK) * per_electron + (3 * per_electron) ** 2)
        counts = counts + np.random.default_rng(3).normal(size=counts.shape) * noise
    return frame(np.round(counts).astype(np.uint16))


@pytest.mark.parametrize("kind", ["picture", "mosaic", "mosaic at ISO 800"])
@pytest.mark.parametrize("edit", sorted(EDITS))
def test_a_smooth_sky_has_no_gaps_or_steps_in_its_histogram(edit: str, kind: str) -> None:
    made = render(sky(kind), recipe(*EDITS[edit]), PixelSpec(fit=None, bits=8))
    fine = render(sky(kind), recipe(*EDITS[edit]), PixelSpec(fit=None, bits=16)) * (255 / 65535)
    for channel in range(3):
        numbers, found = fine[..., channel], np.bincount(made[..., channel].ravel(), minlength=256)
        whole = np.floor(numbers).astype(int)
        share = numbers - whole
        expected = np.bincount(whole.ravel(), (1 - share).ravel(), minlength=257)
        expected += np.bincount(whole.ravel() + 1, share.ravel(), minlength=257)[:257]
        expected = expected[:256]
        used = np.flatnonzero(expected > 400)
        assert len(used) > 30
        # No gaps, and as many as the light asks for.
        assert (found[used] > 0).all()
        assert np.abs(found[used] / expected[used] - 1).max() < 0.1
        # No steps: from number to number the histogram bends as the light does, and never jumps.
        inner = used[5:-5]
        around = (found[inner - 1] + found[inner + 1]) / 2
        assert np.abs(found[inner] / around - 1).max() < 0.15
