"""Frames of an invented night by numbers: a mosaic of sky, stars, aurora and a ridge, and its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from support import recipes, tinydng

from archive.engine.decode import Decoded

HEIGHT, WIDTH = 320, 480


@dataclass(frozen=True, kw_only=True)
class Moment:
    """How one frame is: aurora's light, stops of exposure, star width (dew), shift in samples."""

    green: float = 0.0
    red: float = 0.0
    stops: float = 0.0
    dew: float = 0.9
    shift: tuple[float, float] = (0.0, 0.0)
    drift: float = 0.0
    cloud: float = 0.0
    place: float = 0.0
    stars: int = 90


def light(moment: Moment) -> npt.NDArray[np.float64]:
    """Linear light, (height, width, 3), balanced: grey is equal in all three; 1.0 = clipping at 0 stops."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    x, y = x - moment.shift[0], y - moment.shift[1]
    ridge = 0.74 * HEIGHT + 14 * np.sin(x / 37) + 6 * np.sin(x / 11.0)
    trees = np.random.default_rng(8).uniform(0, 22, WIDTH // 6 + 60)
    ridge = ridge - np.interp(x.ravel(), np.arange(len(trees)) * 6 - 60.0, trees).reshape(x.shape)
    land = y >= ridge
    sky = 0.016 + 0.014 * (y / HEIGHT) ** 2
    out = np.repeat(sky[:, :, None], 3, axis=2)
    arc = np.exp(-(((y - 90 - 25 * np.sin(x / 90 + moment.place)) / 34) ** 2)) * (
        0.6 + 0.4 * np.sin(x / 23 + 3 * moment.place)
    )
    out[:, :, 1] += moment.green * arc
    out[:, :, 0] += moment.red * np.exp(-(((y - 45) / 40) ** 2)) + 0.21 * moment.green * arc
    out[:, :, 2] += 0.25 * moment.green * arc
    grey = 0.03 * moment.cloud * np.exp(-((((x - 60 * moment.place) % WIDTH - 200) / 80) ** 2))
    out += grey[:, :, None]
    stars = np.random.default_rng(5)
    for _ in range(moment.stars):
        sx = stars.uniform(0, WIDTH) + moment.drift + moment.shift[0]
        sy, bright = stars.uniform(0, 0.62 * HEIGHT) + moment.shift[1], stars.uniform(0.05, 0.9)
        top, left = max(0, int(sy) - 14), max(0, int(sx) - 14)
        if top >= HEIGHT or left >= WIDTH or sy < -14 or sx < -14:
            continue
        rows, columns = np.mgrid[top : min(HEIGHT, int(sy) + 15), left : min(WIDTH, int(sx) + 15)]
        spot = np.exp(-((columns - sx) ** 2 + (rows - sy) ** 2) / (2 * moment.dew**2))
        spot *= bright * (0.9 / moment.dew) ** 2
        out[top : top + spot.shape[0], left : left + spot.shape[1]] += spot[:, :, None]
    out[land] = (0.0035 + 0.004 * ((x.astype(int) // 16 + y.astype(int) // 16) % 2))[land][:, None]
    return out * 2.0**moment.stops


def frame(moment: Moment, *, seed: int | None = 1, orientation: int = 1) -> Decoded:
    """The moment as ``tinydng``'s sensor counts it; ``seed`` None without noise."""
    balanced = light(moment)
    to_sensor = np.linalg.inv(recipes.camera().to_srgb)
    sensor = (balanced @ to_sensor.T) / recipes.camera().daylight
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    channel = np.array([[0, 1], [1, 2]])[y % 2, x % 2]
    electrons = np.clip(np.take_along_axis(sensor, channel[:, :, None], 2)[:, :, 0], 0, None) * 20000
    if seed is not None:
        random = np.random.default_rng(seed)
        electrons = random.normal(electrons, np.sqrt(electrons + 9))
    counts = electrons / 20000 * (tinydng.WHITE - tinydng.BLACK) + tinydng.BLACK
    return recipes.frame(
        np.clip(np.round(counts), 0, tinydng.WHITE).astype(np.uint16), orientation=orientation
    )
