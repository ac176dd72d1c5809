"""What a sensor counts in the dark: whether a frame is dark, a master of several, a mosaic without it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from archive.engine import sampling
from archive.engine.decode import Decoded
from archive.engine.kernels.compiled import kernel
from archive.engine.kernels.rows import Rows
from archive.engine.operators.sensor import DarkFrame
from archive.errors import ArchiveError, shown

_ROBUST = 3
"""From so many frames on the highest and the lowest of each sample are left out."""
# A median further above black than this share of the range, and than so many times the noise at no light, is
# light: sensors are kept at black by their makers, and glow only in corners.
_LIT, _SIGMAS = 0.02, 8.0
_LOOKED_AT = 100_000


@dataclass(frozen=True, kw_only=True, eq=False)
class MasterDark:
    """What dark frames hold above black: float32, (height, width), counts, and the pattern they belong to."""

    counts: npt.NDArray[np.float32]
    pattern: tuple[int, int, int, int]


def light_in(frame: Decoded) -> float | None:
    """How far the median of a frame lies above black, as a share of its range; None for a dark mosaic.

    What is no mosaic counts as full of light.
    """
    if frame.pattern is None:
        return 1.0
    shares = []
    for place in range(4):
        plane = frame.pixels[place // 2 :: 2, place % 2 :: 2]
        stride = max(1, int((plane.size / _LOOKED_AT) ** 0.5))
        if plane.size:
            above = float(np.median(plane[::stride, ::stride])) - frame.black[place]
            shares.append(above / max(frame.white - frame.black[place], 1))
    with Rows(1) as rows:
        noise = sampling.noise_of(frame, rows).sigma(0)
    return max(shares) if max(shares) > max(_LIT, _SIGMAS * noise) else None


def master_dark(frames: Iterable[Decoded], names: Sequence[str] = ()) -> MasterDark:
    """The mean of dark frames, sample by sample, without the highest and the lowest where there are three.

    Each counts from its own black. One frame is looked at after the other, so that any number of them fits
    into memory. ``names`` are what to call them in errors.

    Raises
    ------
    ArchiveError : there is none, one is no mosaic or was taken in light, or they do not fit each other.
    """
    total: npt.NDArray[np.float32] | None = None
    lowest = highest = np.empty(0, np.float32)
    first: Decoded | None = None
    count = 0
    for each in frames:
        name = shown(names[count]) if count < len(names) else f"dark frame {count + 1}"
        if each.pattern is None or each.pixels.dtype != np.uint16:
            raise _unfit(f"{name} is no raw mosaic")
        light = light_in(each)
        if light is not None:
            raise _unfit(f"{name} is not dark, half of it lies {light:.1%} of the range or more above black")
        counts = _above_black(each)
        if total is None or first is None:
            first, total = each, counts
            lowest, highest = counts.copy(), counts.copy()
        elif _kind(each) != _kind(first):
            raise _unfit("the dark frames are of different sizes or patterns")
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
    return MasterDark(counts=total / np.float32(count), pattern=first.pattern)


def darkened(decoded: Decoded, dark: MasterDark | None, step: DarkFrame, rows: Rows) -> Decoded:
    """A mosaic less the share of a master dark that the operator asks for; clipped samples stay clipped.

    Raises
    ------
    ArchiveError : the master is not there, or belongs to another sensor.
    """
    if dark is None:
        raise _unfit("its dark frames were not given")
    if decoded.pattern is None:
        raise _unfit("the frame is no Bayer mosaic, and is interpolated before they could be subtracted")
    if decoded.pixels.shape != dark.counts.shape or decoded.pattern != dark.pattern:
        raise _unfit("its dark frames are of another sensor, size or orientation than the frame")
    out = np.empty(dark.counts.shape, np.uint16)
    mosaic = decoded.pixels.astype(np.uint16, copy=False)
    rows.run(_subtract, len(out), mosaic, dark.counts, np.float32(step.share), int(decoded.white), out)
    return replace(decoded, pixels=out)


def _above_black(decoded: Decoded) -> npt.NDArray[np.float32]:
    """Counts less the black of their own frame, which some cameras write anew for each."""
    counts = decoded.pixels.astype(np.float32)
    for place in range(4):
        counts[place // 2 :: 2, place % 2 :: 2] -= np.float32(decoded.black[place])
    return counts


def _kind(decoded: Decoded) -> tuple[object, ...]:
    return decoded.pixels.shape, decoded.pattern


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
