"""Per-frame exposure corrections: flicker taken out, jumps of settings bridged, the scene's light left alone.

Flicker is common to the whole picture; aurora, clouds and dawn are not, or come slowly. So it is measured
where the picture is steadiest, against that region's own slow course.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.model.survey import Cells

Floats = npt.NDArray[np.float64]

LEAST_FRAMES = 5
_SPAN = 121
_CONSTANT = 2.5
_RAMP_SIGMA = 12.0
_DARKEST = 2.0**-11
_STEADIEST = 0.12
_SLOW = 15
_PASSING = 61
_SIGNIFICANT = 3.5
_SIDE = 12
_DIGITS = 3


@dataclass(frozen=True, kw_only=True)
class Levelled:
    """What levelling adds, in stops, to each frame; the cells it measured by; how strong flicker was before.

    ``flicker`` is the standard deviation from frame to frame in stops, ``jumps`` the frames (from 0) at which
    settings changed.
    """

    stops: tuple[float, ...]
    cells: tuple[int, ...]
    flicker: float
    jumps: tuple[int, ...]


def level(
    frames: Sequence[Cells], gains: Sequence[float], region: tuple[float, float, float, float] | None = None
) -> Levelled:
    """Corrections that leave the scene's own course and take out what the camera added.

    Parameters
    ----------
    frames : the cells of each frame in order, all of one shape.
    gains : what each frame's settings brighten, in stops.
    region : left, top, right and bottom of the steady part as shares of the picture; None finds it.
    """
    light = np.array([cells.green for cells in frames])
    gain = np.array(gains, np.float64)
    scene = np.log2(np.maximum(light, 2.0**-16)) - gain[:, None]
    jumps = np.flatnonzero(np.abs(np.diff(gain)) > 1e-3) + 1
    if region is not None:
        chosen = _within(frames[0], region)
    else:
        chosen = _steadiest(scene, light)
        # Without most of its flicker the picture shows better where it is steady.
        chosen = _steadiest(scene - _camera_course(scene, chosen, jumps)[:, None], light)
    steady = _course(scene, chosen)
    steps = _residual_steps(steady, jumps)
    flicker = _flicker(steady - steps)
    stops = _bridge(gain) - gain - steps - flicker
    return Levelled(
        stops=tuple(round(float(value), _DIGITS) + 0.0 for value in stops),
        cells=tuple(int(cell) for cell in chosen),
        flicker=float(np.std(flicker)),
        jumps=tuple(int(jump) for jump in jumps),
    )


def _course(scene: Floats, chosen: npt.NDArray[np.intp]) -> Floats:
    """How these cells change together; each counts by its change, not by its brightness."""
    course = scene[:, chosen]
    return np.asarray(np.median(course - np.median(course, axis=0), axis=1))


def _camera_course(scene: Floats, chosen: npt.NDArray[np.intp], jumps: npt.NDArray[np.intp]) -> Floats:
    steady = _course(scene, chosen)
    steps = _residual_steps(steady, jumps)
    return np.asarray(steps + _flicker(steady - steps))


def _within(cells: Cells, region: tuple[float, float, float, float]) -> npt.NDArray[np.intp]:
    """The cells whose middle lies in the region; the nearest one where none does."""
    left, top, right, bottom = region
    x = (np.arange(len(cells.green)) % cells.columns + 0.5) / cells.columns
    y = (np.arange(len(cells.green)) // cells.columns + 0.5) / cells.rows
    inside = np.flatnonzero((x >= left) & (x <= right) & (y >= top) & (y <= bottom))
    if len(inside):
        return inside
    return np.array([np.argmin((x - (left + right) / 2) ** 2 + (y - (top + bottom) / 2) ** 2)])


def _steadiest(scene: Floats, light: Floats) -> npt.NDArray[np.intp]:
    """The cells whose slow course changes least, bright enough to be measured."""
    lit = np.median(light, axis=0) >= min(_DARKEST, float(np.median(light)))
    slow = _running_median(scene, 11)
    # Dawn is everywhere and slow; aurora and clouds take minutes, and pass.
    bent = slow - np.stack([_averaged(course, _PASSING, onward=True) for course in slow.T], axis=1)
    restless = np.quantile(np.abs(bent), 0.95, axis=0) + np.std(np.diff(slow, axis=0), axis=0)
    restless = np.where(lit, restless, np.inf)
    count = max(6, round(_STEADIEST * scene.shape[1]))
    return np.sort(np.argsort(restless, kind="stable")[:count])


def _averaged(values: Floats, span: int, *, onward: bool = False) -> Floats:
    """A moving mean with tricube weights; ends are mirrored, or go ``onward`` as they point."""
    reach = max(1, min(span, len(values) - 1) // 2)
    kernel = (1 - np.abs(np.arange(-reach, reach + 1) / (reach + 1)) ** 3) ** 3
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd" if onward else "even")
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def _curved(values: Floats, span: int) -> Floats:
    """A moving parabola over ``span`` frames (Savitzky and Golay 1964): follows a peak to its top."""
    reach = span // 2
    time = np.arange(-reach, reach + 1)
    square = (time * time).astype(float)
    # Least squares of 1, t², odd powers falling out: weights of the value at the middle.
    kernel = square.sum() * -square + (square * square).sum()
    kernel /= len(time) * (square * square).sum() - square.sum() ** 2
    padded = np.pad(values, reach, mode="reflect")
    return np.asarray(np.convolve(padded, kernel, mode="valid"))


def _running_median(values: Floats, span: int) -> Floats:
    half = span // 2
    padded = np.pad(values, ((half, half), (0, 0)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, span, axis=0)
    return np.asarray(np.median(windows, axis=-1))


def _residual_steps(steady: Floats, jumps: npt.NDArray[np.intp]) -> Floats:
    """What the settings as they were written do not explain of each jump, added up from the first on."""
    steps = np.zeros_like(steady)
    edges = [0, *jumps.tolist(), len(steady)]
    for before, at, after in zip(edges, edges[1:], edges[2:], strict=False):
        left, right = steady[max(before, at - _SIDE) : at], steady[at : min(after, at + _SIDE)]
        step, error = _step_between(left, right)
        if abs(step) > 2.5 * error:
            steps[at:] += step
    return steps


def _step_between(left: Floats, right: Floats) -> tuple[float, float]:
    """The step from one course to the next with a slope common to both, and its standard error."""
    time = np.concatenate([np.arange(-len(left), 0), np.arange(len(right))]) + 0.5
    values = np.concatenate([left, right])
    if len(values) < 4:
        # Too few for a slope: the settings changed again at once.
        return float(right.mean() - left.mean()), float("inf") if len(values) < 3 else 0.02
    columns = np.stack([np.ones_like(time), time, (time > 0).astype(float)], axis=1)
    solution, *_ = np.linalg.lstsq(columns, values, rcond=None)
    spread = float(np.sqrt(((values - columns @ solution) ** 2).sum() / max(1, len(values) - 3)))
    inverse = np.linalg.pinv(columns.T @ columns)
    return float(solution[2]), spread * float(np.sqrt(inverse[2, 2])) + 1e-4


def _flicker(steady: Floats) -> Floats:
    """What comes and goes from frame to frame; slow changes that stand out of it are the scene's."""
    flicker = steady - _smoothed(steady, _SPAN)
    span = min(_SLOW, len(steady) // 2 * 2 - 1)
    if span < 5:
        return flicker
    spread = float(np.median(np.abs(np.diff(flicker)))) * 1.4826 / np.sqrt(2)
    # A single frame lit by a passing lamp is not slow.
    calm = _running_median(flicker[:, None], 3)[:, 0]
    slow = _curved(calm, span)
    limit = max(_SIGNIFICANT * spread / np.sqrt(0.58 * span), 0.003)
    # What stands out is let through whole, and by degrees at its edges, so that nothing jumps. 0.58: tricube
    # weights leave as much noise as so many even ones.
    standing = np.clip(np.abs(_averaged(calm, span)) / limit - 1, 0, 1)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(standing, span, mode="edge"), 2 * span + 1)
    standing = _averaged(around.max(axis=1), span)
    return np.asarray(flicker - standing * slow)


def _smoothed(values: Floats, span: int) -> Floats:
    """A local straight line with tricube weights over ``span`` frames (Cleveland 1979), twice made robust."""
    count = len(values)
    reach = max(2, min(span, count) // 2)
    out = np.empty(count)
    robust = np.ones(count)
    for _ in range(3):
        for at in range(count):
            low, high = max(0, at - reach), min(count, at + reach + 1)
            time = np.arange(low, high) - at
            weights = (1 - np.abs(time / (reach + 1)) ** 3) ** 3 * robust[low:high]
            total = max(float(weights.sum()), 1e-9)
            middle = float((weights * time).sum()) / total
            level = float((weights * values[low:high]).sum()) / total
            square = float((weights * (time - middle) ** 2).sum())
            slope = float((weights * (time - middle) * values[low:high]).sum()) / square if square > 0 else 0
            out[at] = level - slope * middle
        rest = np.abs(values - out)
        scale = 6 * float(np.median(rest))
        robust = np.maximum(0.0, 1 - (rest / max(scale, 1e-9)) ** 2) ** 2 if scale > 1e-9 else robust
    return out


def _bridge(gain: Floats) -> Floats:
    """What the settings should have been: constant where they hardly changed, else a smooth course."""
    if float(np.ptp(gain)) <= _CONSTANT:
        return np.full_like(gain, float(np.median(gain)))
    reach = int(4 * _RAMP_SIGMA)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / _RAMP_SIGMA) ** 2)
    padded = np.pad(gain, reach, mode="reflect", reflect_type="odd") if len(gain) > reach else None
    if padded is None:
        padded = np.pad(gain, reach, mode="edge")
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))
