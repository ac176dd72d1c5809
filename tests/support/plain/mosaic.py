"""Mosaics, whole frames at a time: dark frames, glowing samples, and all three colours of every sample."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from support.plain.planes import Floats

Counts = npt.NDArray[np.uint16]
Pattern = tuple[int, int, int, int]


def of_places(values: Any, shape: tuple[int, ...]) -> npt.NDArray[Any]:
    """What belongs to each sample of four values, one for each place of a pattern of 2 × 2."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    return np.asarray(values)[2 * (y % 2) + x % 2]


def darkened(mosaic: Counts, dark: npt.NDArray[Any], share: float, white: float) -> Counts:
    """Counts less a share of those in the dark; what had reached white stays."""
    left = np.clip(np.floor(mosaic - share * dark.astype(np.float64) + 0.5), 0, 65535)
    return np.where(mosaic >= int(white), mosaic, left).astype(np.uint16)


def cooled(mosaic: Counts, blacks: Any, reach: float, slope: float, read: float) -> Counts:
    """A mosaic whose lonely bright samples are the mean of their four nearest of the same colour.

    slope, read : the variance of counts for each above black, and at black.
    """
    counts = mosaic.astype(np.float64)

    def lying(down: int, across: int) -> Floats:
        """For each sample the one so far away, or the one opposite where that would be beyond the rim."""
        lines = []
        for count, step in zip(counts.shape, (down, across), strict=True):
            there = np.arange(count) + step
            lines.append(np.where((there >= 0) & (there < count), there, np.arange(count) - step))
        return np.asarray(counts[np.ix_(*lines)])

    ways = [(y, x) for y in range(-2, 3) for x in range(-2, 3)]
    alike = [lying(y, x) for y, x in ways if (y, x) != (0, 0) and y % 2 == x % 2 == 0]
    cross = np.mean([lying(y, x) for y, x in ways if (abs(y), abs(x)) in ((0, 2), (2, 0))], axis=0)
    direct = np.mean([lying(y, x) for y, x in ways if abs(y) + abs(x) == 1], axis=0)
    # The next of the direct neighbours' colours are a knight's move away.
    knights = np.mean([lying(y, x) for y, x in ways if {abs(y), abs(x)} == {1, 2}], axis=0)
    black = of_places(blacks, counts.shape).astype(np.float64)
    level = np.maximum(np.max(alike, axis=0) - black, 0)
    excess = np.maximum(counts - black - level, 0)
    glows = excess**2 > reach**2 * (slope * level + read)
    # A star spills a quarter of its peak into its direct neighbours at least.
    alone = direct - knights < (counts - cross) / 4
    return np.where(glows & alone, np.floor(cross + 0.5), counts).astype(np.uint16)


def light_of(mosaic: Counts, pattern: Pattern, blacks: Any, white: float, ceilings: Any) -> Floats:
    """Light, 0 black and 1 white, each colour held at its ceiling.

    A lone row or column has another beside it in which each sample is the green of its pair, or what there
    is.
    """
    black = of_places(np.asarray(blacks, np.float64), mosaic.shape)
    light = (mosaic - black) / np.maximum(white - black, 1)
    if light.shape[0] == 1:
        light = np.stack([light[0], greens(light[0], pattern[:2])])
    if light.shape[1] == 1:
        light = np.stack([light[:, 0], greens(light[:, 0], pattern[::2])], axis=1)
    return np.minimum(light, np.asarray(ceilings, np.float64)[of_places(pattern, light.shape)])


def greens(line: Floats, channels: tuple[int, ...]) -> Floats:
    """The green of each pair of samples, or of the pair before where the last is not whole."""
    first = 1 if channels[1] == 1 and len(line) > 1 else 0
    there = line[first::2]
    return there[np.minimum(np.arange(len(line)) // 2, len(there) - 1)]


def demosaiced(light: Floats, pattern: Pattern, weights: Floats) -> Floats:
    """All three colours of every sample, (3, height, width). weights : which make colours alike in strength.

    Beyond the rim light goes on as its mirror image, which keeps the pattern going. Green is the mean across
    and along, both bent as the sample's own colour is; each direction weighs as much as the other changes.
    Red and blue differ from green as their nearest samples do.
    """
    channel = of_places(pattern, light.shape)
    light = light * weights[channel]
    across, changing_across = along_rows(light)
    down, changing_down = (plane.T for plane in along_rows(light.T))
    for_across, for_down = changing_down**2 + 4.1e-8, changing_across**2 + 4.1e-8
    between = (across * for_across + down * for_down) / (for_across + for_down)
    green = np.where(channel == 1, light, between)
    tent = np.outer([1, 2, 1], [1, 2, 1]) / 4
    red, blue = (
        green + ndimage.correlate(np.where(channel == each, light - green, 0), tent, mode="mirror")
        for each in (0, 2)
    )
    return np.stack([red, green, blue]) / weights[:, None, None]


def along_rows(light: Floats) -> tuple[Floats, Floats]:
    """What a sample's neighbours in its row say of it, and how much light changes along the row."""

    def weighed(*rows: list[float]) -> Floats:
        return np.asarray(ndimage.correlate(light, np.array(rows), mode="mirror"))

    bend = weighed([-1, 0, 2, 0, -1])
    nothing = [0.0, 0.0, 0.0]
    change = np.abs(weighed([1, 0, -1])) + np.abs(bend)
    change += np.abs(weighed([1, 0, -1], nothing, nothing)) / 2
    change += np.abs(weighed(nothing, nothing, [1, 0, -1])) / 2
    return weighed([0.5, 0, 0.5]) + 3 / 16 * bend, change
