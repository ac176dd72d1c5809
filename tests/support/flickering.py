"""A sequence's cells with a known camera and sky: flicker, jumps, aurora, clouds, a brightening, dawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.model.survey import Cells

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Flickering:
    """``cells`` as measured; ``gains`` as the files say; ``camera`` what it really added, in stops."""

    cells: list[Cells]
    gains: list[float]
    camera: Floats
    scene: Floats


def flickering(
    count: int = 240,
    *,
    flicker: float = 0.0,
    brightening: float = 0.0,
    minutes: float = 3.0,
    land: float = 0.0,
    tint: tuple[float, float] | None = None,
    dawn: float = 0.0,
    gains: Sequence[float] | None = None,
    really: Sequence[float] | None = None,
    seed: int = 1,
) -> Flickering:
    """Invented cells at a 10 s cadence: two rows of land below, six of sky with aurora and passing clouds.

    ``brightening`` is how many stops the sky rises for so many ``minutes`` (full width at half maximum), of
    which ``land`` takes a share. ``tint`` is how much of the green light that comes red and blue take: aurora
    is mostly the green line of oxygen, 557.7 nm (McLennan and Shrum 1925). None
    measures green alone.
    """
    random = np.random.default_rng(seed)
    time = np.arange(count)
    x, y = np.meshgrid(np.arange(12), np.arange(8))
    sky = y < 6
    scene = np.repeat(np.where(sky, -5.5 - 0.1 * y, -8.0)[None], count, axis=0)
    for arc in range(3):
        place = (6 + 5 * np.sin(time / 25 + 2 * arc))[:, None, None]
        strength = 0.8 * (0.5 + 0.5 * np.sin(time / 7 + arc))[:, None, None]
        scene += sky * strength * np.exp(-(((x - place) / 2.5) ** 2) - ((y - 2 - arc) / 1.2) ** 2)
    cloud = ((time / 9) % 16 - 2)[:, None, None]
    scene += 0.5 * (y < 5) * np.exp(-(((x - cloud) / 1.5) ** 2))
    risen = brightening * np.exp(-4 * np.log(2) * ((time - 0.55 * count) / (6 * minutes)) ** 2)
    more = np.where(sky, 1.0, land) * risen[:, None, None]
    scene += more
    scene += (dawn * (time / count) ** 2)[:, None, None]
    told = np.zeros(count) if gains is None else np.array(gains, float)
    camera = random.uniform(-flicker, flicker, count) + (told if really is None else np.array(really, float))
    green = 2 ** (scene + camera[:, None, None]) * (1 + random.normal(0, 0.003, scene.shape))
    # Light adds up: what comes is added to each colour's own, at so much less of the green's.
    red, blue = (
        np.zeros_like(green)
        if tint is None
        else green * (1 + part * (2**more - 1)) / 2**more * (1 + random.normal(0, 0.003, scene.shape))
        for part in (tint or (0.0, 0.0))
    )
    cells = [
        Cells(columns=12, rows=8, red=tuple(r.ravel()), green=tuple(g.ravel()), blue=tuple(b.ravel()))
        for r, g, b in zip(red, green, blue, strict=True)
    ]
    return Flickering(cells=cells, gains=told.tolist(), camera=camera, scene=scene)
