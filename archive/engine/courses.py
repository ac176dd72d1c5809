"""Courses of many frames made smooth, and how much they come and go."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def scatter(values: Floats) -> float:
    """Standard deviation of what comes and goes, from the differences of frames and the next."""
    return float(np.median(np.abs(values))) * 1.4826 / math.sqrt(2) if len(values) else 0.0


def roughness(values: Floats) -> Floats:
    """How far each frame is from the middle of its neighbours, scaled as white noise's standard deviation is.

    Unlike differences it sees little of a course that is smooth (Gasser, Sroka and Jennen-Steinmetz 1986).
    """
    bends = np.abs(np.diff(values, 2)) * 1.4826 / math.sqrt(6)
    return np.pad(bends, 1, mode="edge") if len(bends) else np.zeros(len(values))


def without_lamps(values: Floats) -> Floats:
    """A course without what lasts for a frame or two and stands far out, as a passing lamp's light does."""
    calm = running_median(values[:, None], 5)[:, 0]
    limit = 5 * float(np.median(roughness(values))) + 0.1
    return np.where(np.abs(values - calm) > limit, calm, values)


def averaged(values: Floats, span: int, *, onward: bool = False) -> Floats:
    """A moving mean with tricube weights; ends are mirrored, or go ``onward`` as they point."""
    reach = max(1, min(span, len(values) - 1) // 2)
    kernel = (1 - np.abs(np.arange(-reach, reach + 1) / (reach + 1)) ** 3) ** 3
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd" if onward else "even")
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def curved(values: Floats, span: int) -> Floats:
    """A moving parabola over ``span`` frames (Savitzky and Golay 1964): follows a peak to its top."""
    reach = span // 2
    time = np.arange(-reach, reach + 1)
    square = (time * time).astype(float)
    # Least squares of 1, t², odd powers falling out: weights of the value at the middle.
    kernel = square.sum() * -square + (square * square).sum()
    kernel /= len(time) * (square * square).sum() - square.sum() ** 2
    padded = np.pad(values, reach, mode="reflect")
    return np.asarray(np.convolve(padded, kernel, mode="valid"))


def running_median(values: Floats, span: int) -> Floats:
    half = span // 2
    padded = np.pad(values, ((half, half), (0, 0)), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, span, axis=0)
    return np.asarray(np.median(windows, axis=-1))


def smoothed(values: Floats, span: int) -> Floats:
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
