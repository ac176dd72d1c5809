"""What holds for every operator at strong values: a small rendering is the large one made smaller.

Two scenes of the simulated night at 960 × 640 pixels, where the noiseless light is known: as the sensor would
count it without noise, and as it counts it at ISO 800, 32 s, f/1.8.
"""

from dataclasses import replace
from fractions import Fraction
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from skimage import color
from support.recipes import STRONG, camera, recipe

from archive.demo import cards, sensor
from archive.demo.night import NORTH
from archive.demo.rawfile import PATTERNS
from archive.engine import colour, operator
from archive.engine.decode import Decoded
from archive.engine.pipeline import render_linear
from archive.model.product import PixelSpec

SIZE = (960, 640)
QUARTER = PixelSpec(fit=(240, 160), bits=16)
FULL = PixelSpec(fit=None, bits=16)
ISO = 800
NOISES = ("noise-free", f"ISO {ISO}")


@cache
def light_of_the_night() -> npt.NDArray[np.float32]:
    """The bright part of the simulated show."""
    return cards.scene_light("north", 42, size=SIZE)


@cache
def scene(noise: str) -> Decoded:
    light = light_of_the_night()
    body = NORTH.body
    if noise == NOISES[0]:
        y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
        channel = np.array(PATTERNS[body.pattern]).reshape(2, 2)[y % 2, x % 2]
        seen = np.clip(light @ sensor.camera_matrix(body).T.astype(np.float32), 0, 1)
        share = np.take_along_axis(seen, channel[..., None], axis=-1)[..., 0]
        mosaic = np.round(share * (body.white - body.black) + body.black).astype(np.uint16)
    else:
        chip = sensor.Sensor(body=body, width=SIZE[0], diagonal=NORTH.half)
        mosaic = chip.expose(
            light, exposure_s=Fraction(32), f_number=Fraction(9, 5), iso=ISO, frame=1, seed=7
        )
    pattern = PATTERNS[body.pattern]
    return Decoded(
        pixels=mosaic, pattern=(pattern[0], pattern[1], pattern[2], pattern[3]),
        black=(float(body.black),) * 4, white=float(body.white), camera=camera(),
    )  # fmt: skip


def lab(light: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    return np.asarray(color.rgb2lab(colour.srgb_encode(np.clip(light, 0, 1))))


@pytest.mark.parametrize("noise", NOISES)
@pytest.mark.parametrize("name", sorted(STRONG))
def test_a_small_rendering_is_the_large_one_made_smaller(name: str, noise: str) -> None:
    effective = replace(recipe(), base=(operator.checked(name, STRONG[name]),))
    large = render_linear(scene(noise), effective, FULL)
    small = render_linear(scene(noise), effective, QUARTER)
    height, width = small.shape[:2]
    assert max(height, width) <= 240
    assert large.shape[0] / height > 3
    # By area, exact for sizes that are no multiples.
    reduced = cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA)
    difference = color.deltaE_ciede2000(lab(reduced), lab(small))
    assert difference.mean() < 1
