"""How noisy a frame is, measured from the frame itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.rows import Rows

_BLOCK = 32
_LEVELS = 24
# The share of blocks taken as plain sky, and what that quantile of a sample variance (80 differences) is
# short of the mean.
_QUANTILE, _SHORTFALL = 0.3, 0.91


@dataclass(frozen=True, kw_only=True)
class NoiseModel:
    """variance = gain · light + read, of one sample, light 0 to 1 = clipping, before white balance."""

    gain: float
    read: float

    def sigma(self, light: float) -> float:
        return float(np.sqrt(self.gain * max(light, 0.0) + self.read))

    @property
    def root_offset(self) -> float:
        """What to add to light so that its square root is equally noisy everywhere (after Anscombe)."""
        return float(np.clip(self.read / max(self.gain, 1e-9) + 0.375 * self.gain, 1e-4, 0.02))


TYPICAL = NoiseModel(gain=2e-4, read=1e-7)
"""For pictures that were developed elsewhere, where the sensor's noise can no longer be seen."""


def measure(
    mosaic: npt.NDArray[np.uint16],
    blacks: npt.NDArray[np.float32],
    scales: npt.NDArray[np.float32],
    rows: Rows,
) -> NoiseModel:
    """The noise of a mosaic, from differences between neighbours of one colour in its plainest blocks."""
    down, across = mosaic.shape[0] // _BLOCK, mosaic.shape[1] // _BLOCK
    if down * across < 16:
        return TYPICAL
    means = np.empty((down, across), np.float32)
    variances = np.empty((down, across), np.float32)
    rows.run(_blocks, down, mosaic, blacks, scales, means, variances)
    order = np.argsort(means, axis=None)
    bins = np.array_split(order, min(_LEVELS, max(2, order.size // 16)))
    levels = np.array([means.flat[each].mean() for each in bins], np.float64)
    spreads = (
        np.array([np.quantile(variances.flat[each], _QUANTILE) for each in bins], np.float64) / _SHORTFALL
    )
    weights = 1 / np.maximum(spreads, 1e-10)
    gain, read = np.polyfit(levels, spreads, 1, w=weights) if np.ptp(levels) > 1e-4 else (0.0, spreads.mean())
    if gain <= 0:
        gain, read = 0.0, float(np.average(spreads, weights=weights))
    floor = 1e-8
    return NoiseModel(gain=float(gain), read=float(max(read, floor)))


@kernel
def _blocks(mosaic, blacks, scales, means, variances, first, last):  # type: ignore[no-untyped-def]
    for row in range(first, last):
        for column in range(means.shape[1]):
            total = 0.0
            squares = 0.0
            count = 0
            for j in range(0, _BLOCK, 2):
                y = row * _BLOCK + j
                for i in range(1, _BLOCK - 4, 6):
                    x = column * _BLOCK + i
                    one = (np.float32(mosaic[y, x]) - blacks[1]) * scales[1]
                    middle = (np.float32(mosaic[y, x + 2]) - blacks[1]) * scales[1]
                    other = (np.float32(mosaic[y, x + 4]) - blacks[1]) * scales[1]
                    # A second difference does not see the sky's own slope.
                    bend = one - 2 * middle + other
                    total += one + middle + other
                    squares += bend * bend
                    count += 1
            means[row, column] = np.float32(total / (3 * count))
            variances[row, column] = np.float32(squares / (6 * count))
