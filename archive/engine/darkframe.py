"""What a sensor counts in the dark: a master of several dark frames, and a mosaic without it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from archive.engine.decode import Decoded
from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.rows import Rows
from archive.engine.operators.sensor import DarkFrame
from archive.errors import ArchiveError

_ROBUST = 3
"""From so many frames on the highest and the lowest of each sample are left out."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MasterDark:
    """What dark frames hold above black: float32, (height, width), counts, and the pattern they belong to."""

    counts: npt.NDArray[np.float32]
    pattern: tuple[int, int, int, int]


def master_dark(frames: Iterable[Decoded]) -> MasterDark:
    """The mean of dark frames, sample by sample, without the highest and the lowest where there are three.

    One frame is looked at after the other, so that any number of them fits into memory.

    Raises
    ------
    ArchiveError : there is none, one is no mosaic, or they do not fit each other.
    """
    total: npt.NDArray[np.float32] | None = None
    lowest = highest = np.empty(0, np.uint16)
    first: Decoded | None = None
    count = 0
    for each in frames:
        if each.pattern is None or each.pixels.dtype != np.uint16:
            raise _unfit("a dark frame is no raw mosaic")
        counts = each.pixels.astype(np.uint16, copy=False)
        if total is None or first is None:
            first, total = each, counts.astype(np.float32)
            lowest, highest = counts.copy(), counts.copy()
        elif _kind(each) != _kind(first):
            raise _unfit("the dark frames are of different sizes, patterns or black levels")
        else:
            total += counts
            np.minimum(lowest, counts, out=lowest)
            np.maximum(highest, counts, out=highest)
        count += 1
    if total is None or first is None or first.pattern is None:
        raise _unfit("it names no dark frames")
    if count >= _ROBUST:
        total -= lowest
        total -= highest
        count -= 2
    mean = total / np.float32(count)
    for place in range(4):
        row, column = divmod(place, 2)
        mean[row::2, column::2] -= np.float32(first.black[place])
    return MasterDark(counts=mean, pattern=first.pattern)


def darkened(decoded: Decoded, dark: MasterDark | None, step: DarkFrame, rows: Rows) -> Decoded:
    """A mosaic less the share of a master dark that the operator asks for; clipped samples stay clipped.

    Raises
    ------
    ArchiveError : the master is not there, or belongs to another sensor.
    """
    if dark is None:
        raise _unfit("its dark frames were not given")
    if (
        decoded.pattern is None
        or decoded.pixels.shape != dark.counts.shape
        or decoded.pattern != dark.pattern
    ):
        raise _unfit("its dark frames are of another sensor, size or orientation than the frame")
    out = np.empty(dark.counts.shape, np.uint16)
    mosaic = decoded.pixels.astype(np.uint16, copy=False)
    rows.run(_subtract, len(out), mosaic, dark.counts, np.float32(step.share), int(decoded.white), out)
    return replace(decoded, pixels=out)


def _kind(decoded: Decoded) -> tuple[object, ...]:
    return decoded.pixels.shape, decoded.pattern, decoded.black


def _unfit(why: str) -> ArchiveError:
    return ArchiveError(
        f"This recipe's dark frames cannot be used: {why}.",
        hint="Nothing was rendered, and no master was changed. `noctuary darks FRAME DARK…` names others.",
    )


@kernel
def _subtract(mosaic, dark, share, white, out, first, last):  # type: ignore[no-untyped-def]
    for row in range(first, last):
        source, less, target = mosaic[row], dark[row], out[row]
        for column in range(source.shape[0]):
            x = np.uintp(column)
            count = source[x]
            left = np.float32(count) - share * less[x] + np.float32(0.5)
            whole = np.uint16(np.int32(min(max(left, np.float32(0)), np.float32(65535))))
            target[x] = count if count >= white else whole
