"""What a raw file itself says of its noise: a DNG's NoiseProfile; in the worker, and read as untrusted."""

from __future__ import annotations

import math
import struct

from archive.engine import dng

_NOISE_PROFILE, _DOUBLE = 51041, 12
_GREEN = 1
# Full scale of fewer than 20 electrons, and noise in the dark of a tenth of the range, are no camera's.
_MOST_GAIN, _MOST_READ = 0.05, 0.01


def told(data: bytes) -> tuple[float, float] | None:
    """Variance per light, and at none, of a green sample, light 0 to 1 = clipping; None if nothing is told.

    Tag 51041 (DNG 1.3 and later): pairs of scale S and offset O with variance S·x + O, one pair for every
    colour plane or one for all, in the directory of the raw picture or, in older files, in the first.
    """
    for directory in dng.raw_first(data):
        entry = directory.entries.get(_NOISE_PROFILE)
        if entry is not None:
            return _pair(entry, directory.order)
    return None


def _pair(entry: dng.Entry, order: str) -> tuple[float, float] | None:
    if entry.kind != _DOUBLE or entry.count not in (2, 6):
        return None
    numbers = struct.unpack(f"{order}{entry.count}d", entry.data)
    scale, offset = numbers[2 * _GREEN : 2 * _GREEN + 2] if len(numbers) > 2 else numbers
    known = math.isfinite(scale) and math.isfinite(offset)
    return (scale, offset) if known and 0 < scale <= _MOST_GAIN and 0 <= offset <= _MOST_READ else None
