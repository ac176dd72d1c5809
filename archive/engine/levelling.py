"""Per-frame exposure corrections: flicker taken out, jumps of settings bridged, the scene's light left alone.

Flicker is common to the whole picture; aurora, clouds and dawn are not, or come slowly. So it is measured
where the picture is steadiest, against that region's own slow course.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.model.survey import Cells

Floats = npt.NDArray[np.float64]

LEAST_FRAMES = 5
_SPAN = 121
_STIFFER = (241, 481, 961)
_CONSTANT = 2.5
_RAMP_SIGMA = 12.0
_DARKEST = 2.0**-11
_STEADIEST = 0.12
_SLOW = 15
_PASSING = 61
_SIGNIFICANT = 3.5
_SIDE, _LONGEST_SIDE = 12, 60
_STEP_ERROR, _LIKELY_STEP = 0.01, 0.1
_DEGREES = 4
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
    spread = _spread(np.delete(np.diff(steady), jumps - 1))
    # As many frames on either side as tell the step to a hundredth of a stop, if they are as many as that.
    side = int(np.clip(2 * (spread / _STEP_ERROR) ** 2, _SIDE, _LONGEST_SIDE))
    edges = [0, *jumps.tolist(), len(steady)]
    for before, at, after in zip(edges, edges[1:], edges[2:], strict=False):
        if side > _SIDE:
            low, high = max(0, at - side), min(len(steady), at + side)
            others = jumps[(jumps > low) & (jumps < high) & (jumps != at)]
            steps[at:] += _step_among(steady[low:high], at - low, others - low, spread)
            continue
        left, right = steady[max(before, at - _SIDE) : at], steady[at : min(after, at + _SIDE)]
        step, error = _step_between(left, right)
        if abs(step) > 2.5 * error:
            steps[at:] += step
    return steps


def _spread(values: Floats) -> float:
    """Standard deviation of what comes and goes, from the differences of frames and the next."""
    return float(np.median(np.abs(values))) * 1.4826 / math.sqrt(2) if len(values) else 0.0


def _step_among(values: Floats, at: int, others: npt.NDArray[np.intp], spread: float) -> float:
    """The step at one frame of a course that flickers, beside further steps and the scene's own change.

    The scene's change is a polynomial of as few terms as Schwarz's criterion (1978) asks for; steps are what
    they are known to be like: a tenth of a stop where files round to thirds.
    """
    count = len(values)
    time = np.linspace(-1, 1, count)
    steps = [(np.arange(count) >= jump).astype(float) for jump in (at, *others.tolist())]
    prior = np.diag([spread / _LIKELY_STEP] * len(steps))
    best, chosen = math.inf, 0.0
    for degree in range(_DEGREES):
        curve = [time**power for power in range(degree + 1)]
        columns = np.stack([*steps, *curve], axis=1)
        known = np.pad(prior, ((0, 0), (0, len(curve))))
        weights = np.ones(count)
        for _ in range(3):
            root = np.sqrt(weights)
            solution, *_ = np.linalg.lstsq(
                np.concatenate([columns * root[:, None], known]),
                np.concatenate([values * root, np.zeros(len(steps))]),
                rcond=None,
            )
            rest = values - columns @ solution
            # A single frame that a lamp lit does not pull the others.
            weights = np.minimum(1.0, 3 * spread / np.maximum(np.abs(rest), 1e-9))
        fit = count * math.log(max(float((weights * rest**2).mean()), 1e-12)) + degree * math.log(count)
        if fit < best:
            best, chosen = fit, float(solution[0])
    return chosen


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
    flicker = steady - _slow_course(steady)
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


def _slow_course(steady: Floats) -> Floats:
    """The scene's slow course, as stiff as it may be: what flicker alone would bend stays flicker."""
    course = _smoothed(steady, min(_SPAN, len(steady)))
    limit = _SIGNIFICANT * _spread(np.diff(steady)) / np.sqrt(0.58 * _SPAN)
    for span in _STIFFER:
        stiffer = _smoothed(steady, span)
        if float(np.abs(course - stiffer).max()) > limit:
            break
        course = stiffer
    return course


def _smoothed(values: Floats, span: int) -> Floats:
    """A local straight line with tricube weights over ``span`` frames (Cleveland 1979), twice made robust."""
    reach = max(2, span // 2)
    time = np.arange(-reach, reach + 1)
    kernel = (1 - np.abs(time / (reach + 1)) ** 3) ** 3
    robust = np.ones(len(values))
    out = values
    for _ in range(3):
        # Weighted sums around every frame at once; beyond the ends nothing weighs anything.
        total, first, second = (_sums(robust, kernel * time**power) for power in (0, 1, 2))
        level, tilt = (_sums(robust * values, kernel * time**power) for power in (0, 1))
        total = np.maximum(total, 1e-9)
        square = second - first**2 / total
        slope = np.where(square > 1e-9, (tilt - first * level / total) / np.maximum(square, 1e-9), 0.0)
        out = (level - slope * first) / total
        rest = np.abs(values - out)
        scale = 6 * float(np.median(rest))
        robust = np.maximum(0.0, 1 - (rest / max(scale, 1e-9)) ** 2) ** 2 if scale > 1e-9 else robust
    return out


def _sums(values: Floats, kernel: Floats) -> Floats:
    reach = len(kernel) // 2
    return np.correlate(np.pad(values, reach), kernel, mode="valid")


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
