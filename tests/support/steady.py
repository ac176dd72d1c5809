"""A noisy night made with whole numbers only, the same on every machine, and a digest of every rendering."""

from __future__ import annotations

import hashlib
import json
import sys
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from support.recipes import camera, recipe
from support.tinydng import BLACK, WHITE

from archive.engine import answers, icc, operator
from archive.engine.darkframe import MasterDark
from archive.engine.declaration import registry
from archive.engine.decode import Decoded
from archive.engine.foundation import GENERATION
from archive.engine.pipeline import render
from archive.model.product import PixelSpec

HEIGHT, WIDTH = 144, 216
NOTHING, WIDE = "nothing", "wide-gamut"
SIZES = {"full": PixelSpec(fit=None), "small": PixelSpec(fit=(106, 106))}
STRONG: dict[str, dict[str, object]] = {
    "balance": {"kelvin": 4000.0, "duv": 0.004}, "chroma": {"amount": 0.5, "muted": 0.3},
    "colour_noise": {"strength": 5.0}, "contrast": {"amount": 0.4}, "crop": {"left": 0.1, "aspect": 1.0},
    "distortion": {"k1": 0.05}, "exposure": {"stops": 1.0}, "fall_off": {"k1": -0.5},
    "highlight_compression": {"stops": 1.0}, "highlight_recovery": {"stops": 1.5},
    "hot_pixels": {"reach": 6.0}, "lateral_colour": {"red": 1.01}, "local_contrast": {"amount": 0.6},
    "luminance_noise": {"strength": 4.0}, "shadow_lift": {"stops": 2.0},
    "sharpness": {"amount": 2.0, "radius": 5.0}, "straighten": {"angle": 7.0}, "vignetting": {"corner": 1.5},
}  # fmt: skip
DARK = {"dark_frame": {"frames": "xxh128:" + 32 * "0"}}
"""Beside the others, because what names dark frames is rendered with their master only."""


def mosaic() -> npt.NDArray[np.uint16]:
    """RGGB, uint16, (144, 216): bright bands, a dark foreground, spots that clip, hot samples, noise."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.int64)
    wave = np.abs((3 * x + y) % 96 - 48) ** 2
    light = 300 + wave * 3
    light = np.where(y > 105 + np.abs(x % 40 - 20) // 4, 40 + x // 8, light)
    for number in range(24):
        distance = (y - (number * 37 + 11) % 100) ** 2 + (x - (number * 53 + 7) % WIDTH) ** 2
        light = light + np.where(distance < 9, (9 - distance) * 300 * (1 + number % 9), 0)
    light = np.where((y % 2 == 0) & (x % 2 == 0), light // 2, light)
    light = np.where((y % 2 == 1) & (x % 2 == 1), light * 5 // 8, light)
    word = (x * 73856093) ^ (y * 19349663)
    noise = np.zeros_like(light)
    for _ in range(4):
        word = (word * 1103515245 + 12345) & 0x7FFFFFFF
        noise = noise + (word >> 16) % 41 - 20
    light[31::40, 17::40] += 5000
    return np.clip(light + noise + BLACK, 0, WHITE).astype(np.uint16)


def master() -> MasterDark:
    """A glow that grows towards one corner, with a column that counts by itself."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.int64)
    counts = (x * x + y * y) // 2048 + np.where(x == 90, 40, 0)
    return MasterDark(counts=counts.astype(np.float32), pattern=(0, 1, 1, 2))


def wide_gamut() -> Decoded:
    """A picture developed elsewhere, uint8, on the primaries of P3, with colours outside sRGB."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.int64)
    stored = np.stack([x * 255 // WIDTH, y * 255 // HEIGHT, (3 * x + 5 * y) % 256], axis=-1)
    transfer = icc.coded_transfer(12, 13, 256)
    assert transfer is not None
    made = answers.picture_light(stored.astype(np.uint8), transfer.curves, transfer.matrix)
    return Decoded(pixels=made)


def digests(names: list[str]) -> dict[str, str]:
    """SHA-256, shortened, of the 8-bit renderings with each operator alone, or with every one of them."""
    decoded = Decoded(
        pixels=mosaic(), pattern=(0, 1, 1, 2), black=(float(BLACK),) * 4, white=float(WHITE), camera=camera()
    )
    strong, found = STRONG | DARK, {}
    for name in names:
        shown, steps = decoded, ()
        if name == WIDE:
            shown = wide_gamut()
        elif name == "everything":
            steps = tuple(
                operator.checked(each, values) for each, values in strong.items() if (each, 1) in registry
            )
        elif name != NOTHING:
            known, _, version = name.partition("-")
            steps = (operator.checked(known, strong[known], version=int(version)),)
        for size, pixels in SIZES.items():
            made = render(shown, replace(recipe(), base=steps), pixels, dark=master())
            found[f"{name} {size}"] = hashlib.sha256(made.tobytes()).hexdigest()[:16]
    return found


def every_name() -> list[str]:
    """What the table has lines for: nothing, each version of each operator, all of them, another picture."""
    versions = sorted(f"{name}-{version}" for name, version in registry)
    return [NOTHING, *versions, "everything", WIDE]


if __name__ == "__main__":
    # Without names, the whole table as it is kept in tests/unit/engine/digests.json.
    if sys.argv[1:]:
        print(json.dumps(digests(sys.argv[1:])))
    else:
        print(json.dumps({"generation": GENERATION, "digests": digests(every_name())}, indent=1))
