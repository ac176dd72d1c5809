"""How noisy a frame is: measured from the frame itself, else as its file tells, else as its ISO suggests.

Only the master's own bytes decide, so that a picture is the same whichever frames lie beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.rows import Rows

Floats = npt.NDArray[np.float64]

_BLOCK = 32
# Blocks that are enough to tell the noise of a frame.
_ENOUGH = 4_000
_LEVELS = 24
_FEWEST = 16
# The share of blocks taken as plain sky, and what that quantile of a sample variance (64 differences) is
# short of the mean.
_QUANTILE, _SHORTFALL = 0.3, 0.91
# Over twice the distance noise differs no more, and whatever the lens drew does.
_DRAWN = 1.2
# The brightest plain parts must vary so much more than the darkest to tell what light adds.
_GROWTH = 1.2
_LEAST_READ = 1e-8
# No camera is full at 20 electrons. A scene only adds to variances: at so many times what is told, it does.
_MOST_GAIN, _MOST_TOLD = 0.05, 2.0
# Samples this near to clipping, as a share of the range, or at zero counts have lost a part of their noise.
_BELOW_CLIPPING = 0.005


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

# A sensor of speed S is full at 78 / S lux seconds (ISO 12232:2019, saturation-based speed); 1 lx is
# 1/683 W/m² at 555 nm, where a photon has 3.58e-19 J (CIE photometry, Planck): 4090 photons per lx s and µm².
_SATURATION_LUX_S, _PHOTONS_PER_LUX_S_UM2 = 78.0, 4090.0
# Common practice for system cameras: a green photosite of 20 µm² that turns four photons of ten into
# electrons, read with 3 electrons of noise.
_PHOTOSITE_UM2, _CAUGHT, _READ_ELECTRONS = 20.0, 0.4, 3.0
_SPEEDS = (25.0, 1e6)


def expected(iso: float) -> NoiseModel:
    """A system camera's noise at an ISO speed, by published physics; ``TYPICAL`` where it is unknown (0)."""
    if not iso > 0:
        return TYPICAL
    speed = min(max(iso, _SPEEDS[0]), _SPEEDS[1])
    electrons = _SATURATION_LUX_S / speed * _PHOTONS_PER_LUX_S_UM2 * _PHOTOSITE_UM2 * _CAUGHT
    return NoiseModel(gain=1 / electrons, read=(_READ_ELECTRONS / electrons) ** 2)


def measure(
    mosaic: npt.NDArray[np.uint16],
    blacks: npt.NDArray[np.float32],
    scales: npt.NDArray[np.float32],
    rows: Rows,
    *,
    told: NoiseModel | None = None,
    iso: float = 0.0,
) -> NoiseModel:
    """The noise of a mosaic, from differences between neighbours of one colour in its plainest blocks.

    Where those do not tell it, it is what the file says (``told``). Where the file says nothing, what
    differences there are hold still: shared out between light and read noise as the ISO suggests where all
    blocks are equally bright, as they are where everything is drawn by the lens. With no differences, as in
    frames that are clipped or tiny, it is what the ISO suggests.
    """
    down, across = mosaic.shape[0] // _BLOCK, mosaic.shape[1] // _BLOCK
    stride = max(1, down * across // _ENOUGH)
    blocks = np.empty((3, -(-down // stride), across), np.float32)
    if blocks.size:
        highest = np.float32(blacks[1] + (1 - _BELOW_CLIPPING) / scales[1])
        rows.run(_blocks, blocks.shape[1], mosaic, stride, blacks[1], scales[1], highest, blocks)
    whole = blocks[:, blocks[0] >= 0].astype(np.float64)
    if whole.shape[1] < _FEWEST:
        return told or expected(iso)
    levels, spreads, wider = _binned(whole)
    plain = wider < _DRAWN * spreads
    if plain.sum() < 2:
        return told or _fitted(levels, spreads) or _split(levels, spreads, expected(iso))
    levels, spreads = levels[plain], spreads[plain]
    if told and np.median(spreads / (told.gain * levels + told.read)) > _MOST_TOLD:
        return told
    return _fitted(levels, spreads) or told or _split(levels, spreads, expected(iso))


def _binned(blocks: Floats) -> tuple[Floats, Floats, Floats]:
    """Brightness, variance and variance over twice the distance of blocks of like brightness."""
    order = np.argsort(blocks[0], kind="stable")
    count = min(_LEVELS, max(2, order.size // _FEWEST))
    bins = order[: order.size // count * count].reshape(count, -1)
    place = int(_QUANTILE * bins.shape[1])
    spreads, wider = np.partition(blocks[1:, bins], place, axis=2)[:, :, place] / _SHORTFALL
    return blocks[0, bins].mean(axis=1), spreads, wider


def _fitted(levels: Floats, spreads: Floats) -> NoiseModel | None:
    """The line through variances, or None where they do not grow with light."""
    if np.ptp(levels) <= 1e-4:
        return None
    gain, read = _line(levels, spreads)
    read = max(read, _LEAST_READ)
    grown = gain * levels[-1] + read >= _GROWTH * (max(gain * levels[0], 0) + read)
    if not grown or gain > _MOST_GAIN:
        return None
    return NoiseModel(gain=gain, read=read)


def _line(levels: Floats, spreads: Floats) -> tuple[float, float]:
    """Slope and height at 0 of the line through variances, each as exact as it is small (least squares).

    In sums that are exact: a library of matrices rounds as the processor's own instructions do.
    """
    weights = [1 / max(each, 1e-10) ** 2 for each in spreads.tolist()]
    points = list(zip(weights, levels.tolist(), spreads.tolist(), strict=True))
    whole = math.fsum(weights)
    level = math.fsum(w * x for w, x, _ in points) / whole
    spread = math.fsum(w * y for w, _, y in points) / whole
    across = math.fsum(w * (x - level) ** 2 for w, x, _ in points)
    gain = math.fsum(w * (x - level) * (y - spread) for w, x, y in points) / across
    return gain, spread - gain * level


def _split(levels: Floats, spreads: Floats, model: NoiseModel) -> NoiseModel:
    """The noise at one level, of which light has no more than in a model."""
    variance, level = float(np.median(spreads)), max(float(np.median(levels)), 0.0)
    gain = min(model.gain, variance / level) if level > 0 else model.gain
    return NoiseModel(gain=gain, read=max(variance - gain * level, _LEAST_READ))


@kernel
def _blocks(mosaic, stride, black, scale, highest, out, first, last):  # type: ignore[no-untyped-def]
    """Mean, variance, and variance over twice the distance of the samples at places 0 1 of blocks.

    stride : from row to row of blocks, in blocks. The mean is −1 where a sample exceeds ``highest`` counts or
    one in 64 has none at all.
    """
    for row in range(first, last):
        for column in range(out.shape[2]):
            total = near = wide = count = empty = np.int64(0)
            most = np.uint16(0)
            for j in range(0, _BLOCK, 2):
                line = mosaic[row * stride * _BLOCK + j]
                for i in range(1, _BLOCK - 8, 6):
                    x = np.uintp(column * _BLOCK + i)
                    one, two, three = line[x], line[x + np.uintp(2)], line[x + np.uintp(4)]
                    most = max(most, max(one, max(two, three)))
                    empty += (one == 0) + (two == 0) + (three == 0)
                    a, b, c = np.int64(one), np.int64(two), np.int64(three)
                    d = np.int64(line[x + np.uintp(8)])
                    # A second difference does not see the sky's own slope.
                    total += a + b + c
                    near += (a - 2 * b + c) * (a - 2 * b + c)
                    wide += (a - 2 * c + d) * (a - 2 * c + d)
                    count += 3
            mean = (total / count - black) * scale
            lost = np.float32(most) > highest or 64 * empty > count
            out[0, row, column] = np.float32(-1) if lost else np.float32(max(mean, 0.0))
            out[1, row, column] = np.float32(near / (2 * count) * scale * scale)
            out[2, row, column] = np.float32(wide / (2 * count) * scale * scale)
