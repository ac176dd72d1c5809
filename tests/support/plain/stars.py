"""The colours of stars, the faintest first, by cut-out windows."""

from __future__ import annotations

import numpy as np
from scipy import ndimage
from support.plain.planes import Floats, smoothstep


def window(plane: Floats, at: tuple[int, int], reach: int) -> Floats:
    rows, columns = (slice(max(each - reach, 0), each + reach + 1) for each in at)
    return plane[..., rows, columns]


def own_colours(
    shares: Floats,
    luma: Floats,
    detail: Floats,
    tinges: Floats,
    noise: tuple[float, ...],
    slopes: Floats,
    offsets: Floats,
) -> tuple[Floats, Floats]:
    """Slopes and offsets by which two differences follow luma, where there are stars as their own light does.

    shares : how surely a pixel is a star's. detail, tinges : what luma and the differences have beyond half
    size; noise : the variances of these three.
    """
    steep, surely, sky = slopes.copy(), np.zeros_like(luma), np.zeros_like(luma)
    peaks = (detail == ndimage.maximum_filter(detail, 3, mode="nearest")) & (detail > 0) & (shares > 0)
    # Of two stars the brighter has the pixels between.
    for at in sorted(zip(*np.nonzero(peaks), strict=True), key=lambda at: float(detail[at])):
        whole, some, core = (window(detail, at, reach) for reach in (3, 2, 1))
        gathered = np.square(core).sum() - core.size * noise[0]
        gathered /= max(np.square(whole).sum() - whole.size * noise[0], 1e-12)
        if gathered <= 0.45:
            continue
        light = max(np.square(some).sum() - some.size * noise[0], 1e-12)
        motley = 0.0
        for tinge, variance, slope in zip(tinges, noise[1:], steep, strict=True):
            other = window(tinge, at, 2)
            common = (some * other).sum()
            # Colours of stars spread by 0.3 about white: what tells little of them leaves them whiter.
            window(slope, at, 2)[:] = common / (light + variance / 0.3**2)
            motley += max(np.square(other).sum() - common**2 / light - other.size * variance, 0) / light
        window(surely, at, 2)[:] = smoothstep(gathered, 0.45, 0.65) * 0.01 / (0.01 + motley)
        around = window(luma, at, 3)
        rim = around.sum() - window(luma, at, 2).sum()
        window(sky, at, 2)[:] = rim / max(around.size - some.size, 1)
    change = shares * surely * (steep - slopes)
    return slopes + change, offsets - change * sky
