"""Per-frame exposure corrections: flicker taken out, jumps of settings bridged, the scene's light left alone.

Flicker is common to the whole picture and all its colours; aurora, clouds and dawn are not, or come slowly.
So it is measured where the picture is steadiest, against what is slow there and what is the sky's light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine.courses import averaged, curved, roughness, running_median, scatter, smoothed
from archive.engine.skyshare import LIKELY_STEP, shared_course
from archive.model.survey import Cells

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

LEAST_FRAMES = 5
_SPAN = 121
_STIFFER = (241, 481, 961)
_CONSTANT = 2.5
_RAMP_SIGMA = 12.0
_DARKEST = 2.0**-11
_STEADIEST = 0.12
_MINUTES = (15, 9, 5)
_SIDES = 31
_PASSING = 61
_SIGNIFICANT = 3.5
_SIDE, _LONGEST_SIDE = 12, 60
_STEP_ERROR = 0.01
_DEGREES = 12
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
    light = np.array([[cells.red, cells.green, cells.blue] for cells in frames]).transpose(1, 0, 2)
    gain = np.array(gains, np.float64)
    colours = np.log2(np.maximum(light, 2.0**-16))
    scene = colours[1] - gain[:, None]
    lit = _lit(light[1])
    jumps = np.flatnonzero(np.abs(np.diff(gain)) > 1e-3) + 1
    if region is not None:
        chosen = _within(frames[0], region)
    else:
        chosen = _steadiest(scene, lit)
        steps, flicker = _camera_course(colours, scene, chosen, lit, jumps)
        # Without most of its flicker the picture shows better where it is steady.
        chosen = _steadiest(scene - (steps + flicker)[:, None], lit)
    steps, flicker = _camera_course(colours, scene, chosen, lit, jumps)
    stops = _bridge(gain) - gain - steps - flicker
    return Levelled(
        stops=tuple(round(float(value), _DIGITS) + 0.0 for value in stops),
        cells=tuple(int(cell) for cell in chosen),
        flicker=float(np.std(flicker)),
        jumps=tuple(int(jump) for jump in jumps),
    )


def _course(scene: Floats, chosen: Indices) -> Floats:
    """How these cells change together; each counts by its change, not by its brightness."""
    course = scene[:, chosen]
    return np.asarray(np.median(course - np.median(course, axis=0), axis=1))


def _camera_course(
    colours: Floats, scene: Floats, chosen: Indices, lit: Indices, jumps: Indices
) -> tuple[Floats, Floats]:
    """What the camera added: what settings as written do not explain of their jumps, and flicker."""
    steady = _course(scene, chosen)
    steady = steady - shared_course(colours, steady, chosen, np.setdiff1d(lit, chosen), jumps)
    steps = _residual_steps(steady, jumps)
    return steps, _flicker(steady - steps)


def _lit(green: Floats) -> Indices:
    """The cells that are bright enough to be measured."""
    middle = np.median(green, axis=0)
    return np.flatnonzero(middle >= min(_DARKEST, float(np.median(green))))


def _within(cells: Cells, region: tuple[float, float, float, float]) -> Indices:
    """The cells whose middle lies in the region; the nearest one where none does."""
    left, top, right, bottom = region
    x = (np.arange(len(cells.green)) % cells.columns + 0.5) / cells.columns
    y = (np.arange(len(cells.green)) // cells.columns + 0.5) / cells.rows
    inside = np.flatnonzero((x >= left) & (x <= right) & (y >= top) & (y <= bottom))
    if len(inside):
        return inside
    return np.array([np.argmin((x - (left + right) / 2) ** 2 + (y - (top + bottom) / 2) ** 2)])


def _steadiest(scene: Floats, lit: Indices) -> Indices:
    """The cells whose slow course changes least, of those that can be measured."""
    slow = running_median(scene, 11)
    # Dawn is everywhere and slow; aurora and clouds take minutes, and pass.
    bent = slow - np.stack([averaged(course, _PASSING, onward=True) for course in slow.T], axis=1)
    restless = np.full(scene.shape[1], np.inf)
    restless[lit] = (np.abs(bent).mean(axis=0) + np.std(np.diff(slow, axis=0), axis=0))[lit]
    count = max(6, round(_STEADIEST * scene.shape[1]))
    return np.sort(np.argsort(restless, kind="stable")[:count])


def _residual_steps(steady: Floats, jumps: Indices) -> Floats:
    """What the settings as they were written do not explain of each jump, added up from the first on."""
    steps = np.zeros_like(steady)
    spread = scatter(np.delete(np.diff(steady), jumps - 1))
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


def _step_among(values: Floats, at: int, others: Indices, spread: float) -> float:
    """The step at one frame of a course that flickers, beside further steps and the scene's own change.

    The scene's change is a polynomial of as few terms as Schwarz's criterion (1978) asks for; steps are what
    they are known to be like: a tenth of a stop where files round to thirds.
    """
    count = len(values)
    time = np.linspace(-1, 1, count)
    steps = [(np.arange(count) >= jump).astype(float) for jump in (at, *others.tolist())]
    prior = np.diag([spread / LIKELY_STEP] * len(steps))
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
    """What comes and goes from frame to frame; slower changes that stand out of it are the scene's."""
    flicker = steady - _slow_course(steady)
    rough = roughness(flicker)
    spread = np.maximum(np.median(rough), running_median(rough[:, None], _SIDES)[:, 0])
    # One or two frames lit by a passing lamp are not slow.
    calm = running_median(flicker[:, None], 5)[:, 0]
    kept = np.where(np.abs(flicker - calm) > 5 * spread + 0.01, calm, flicker)
    scene = np.zeros(len(steady))
    for span in (span for span in _MINUTES if span <= len(steady)):
        # 0.58: tricube weights leave as much noise as so many even ones.
        limit = np.maximum(_SIGNIFICANT * spread / np.sqrt(0.58 * span), 0.003)
        # What stands out is let through whole, and by degrees at its edges, so that nothing jumps.
        standing = np.clip(np.abs(averaged(calm - scene, span)) / limit - 1, 0, 1)
        around = np.lib.stride_tricks.sliding_window_view(np.pad(standing, span, mode="edge"), 2 * span + 1)
        scene += averaged(around.max(axis=1), span) * (curved(kept, span) - scene)
    return flicker - scene


def _slow_course(steady: Floats) -> Floats:
    """The scene's slow course, as stiff as it may be: what flicker alone would bend stays flicker."""
    course = smoothed(steady, min(_SPAN, len(steady)))
    limit = _SIGNIFICANT * scatter(np.diff(steady)) / np.sqrt(0.58 * _SPAN)
    for span in _STIFFER:
        stiffer = smoothed(steady, span)
        if float(np.abs(course - stiffer).max()) > limit:
            break
        course = stiffer
    return course


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
