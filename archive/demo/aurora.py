"""The aurora: curtains of light above a map of the ground, folded by turbulence, seen in true perspective.

Electrons rain down along thin sheets. The foot of a sheet is a curve on the map, bent by turbulence; from
every point of it a field line rises, leaning toward the magnetic zenith, and shines by the altitude profile
of each emission. Every field line is drawn with the light its piece of sheet sends to each pixel, so a sheet
seen along its fold is brighter, as in the sky.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from archive.demo.noise import fractal, noise
from archive.engine.kernels.compiled import kernel

EARTH_KM = 6371.0
TILT = 0.21
"""Horizontal shift toward magnetic north per unit of height: field lines lean 12° at this latitude."""
_LOWEST_KM, _HIGHEST_KM = 86.0, 440.0
_PATCH_KM = 108.0
_STRANDS = ((-0.7, 0.5), (0.7, 0.5))
_GREEN = np.array([0.21, 1.0, 0.25])
_BLUE = np.array([0.20, 0.16, 0.95])
_MAGENTA = np.array([1.0, 0.20, 0.78])
_CRIMSON = np.array([1.0, 0.06, 0.15])


@dataclass(frozen=True, kw_only=True)
class Mood:
    """How the aurora behaves at one moment.

    ``folds`` 0 to 1 is the strength of the turbulence, ``phase`` and ``ray_phase`` are its clocks;
    ``arcs`` are rows of (distance north in km, brightness, half width in km); ``patches`` the brightness of
    the pulsating patches, ``contrast`` that of the rays.
    """

    folds: float
    phase: float
    ray_phase: float
    contrast: float
    arcs: tuple[tuple[float, float, float], ...]
    patches: float
    veil: float


def _step(low: float, high: float, value: float) -> float:
    share = min(1.0, max(0.0, (value - low) / (high - low)))
    return share * share * share * (share * (share * 6 - 15) + 10)


def mood(seconds: float, duration: float) -> Mood:
    """The aurora ``seconds`` after the night's show began, of a show that lasts ``duration`` seconds.

    A quiet arc brightens, drifts south and breaks up at 0.3 to 0.55 of the show; what is left fades
    into pulsating patches.
    """
    t = seconds / duration
    burst = _step(0.26, 0.43, t) * (1 - _step(0.56, 0.80, t))
    late = _step(0.58, 0.78, t)
    flare = _step(0.30, 0.40, t) * (1 - _step(0.44, 0.60, t))
    south = _step(0.05, 0.45, t)
    # The clocks are integrals of a rate that is higher while it bursts, so that nothing ever jumps.
    grid = np.linspace(0.0, max(t, 1e-6), 65)
    rate = np.array([_step(0.24, 0.40, s) * (1 - 0.55 * _step(0.55, 0.80, s)) for s in grid])
    spent = float(np.trapezoid(rate, grid)) * duration
    return Mood(
        folds=0.10 + 0.90 * _step(0.24, 0.44, t) * (1 - 0.45 * late),
        phase=seconds / 420.0 + spent / 210.0,
        ray_phase=seconds / 130.0 + spent / 85.0,
        contrast=0.55 + 0.75 * burst,
        arcs=(
            (238.0 - 58.0 * south, 0.12 + 0.04 * _step(0.0, 0.25, t) + 0.11 * burst - 0.13 * late, 1.5),
            (318.0 - 46.0 * south, 0.045 + 0.09 * burst - 0.028 * late, 2.2),
            (150.0 - 40.0 * south, 0.09 * flare + 0.015 * burst, 1.8),
        ),
        patches=0.052 * late * (1 - 0.35 * _step(0.85, 1.0, t)),
        veil=0.010 + 0.016 * burst + 0.008 * late,
    )


def _profiles() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Light per km of altitude from 80 to 480 km in 1 km steps: body, lower edge and upper part; (401, 3)."""
    h = np.arange(80.0, 481.0)
    below, above = np.minimum(h, 108) - 108, np.maximum(h, 108) - 108
    green = np.exp(-((below / 4.4) ** 2)) * (0.86 * np.exp(-above / 17) + 0.14 * np.exp(-above / 55))
    blue = np.exp(-(((np.minimum(h, 104) - 104) / 5) ** 2)) * (
        0.7 * np.exp(-(np.maximum(h, 104) - 104) / 14) + 0.3 * np.exp(-(np.maximum(h, 104) - 104) / 70)
    )
    # A thin seam right below the green, whose lower border lies at 104 km.
    edge = np.exp(-((np.minimum(h, 101) - 101) ** 2) / 3.5) * np.exp(-((np.maximum(h, 101) - 101) ** 2) / 9)
    red = np.exp(-(((np.minimum(h, 235) - 235) / 62) ** 2)) * np.exp(-(np.maximum(h, 235) - 235) / 85)
    body = green[:, None] * _GREEN + 0.18 * blue[:, None] * _BLUE
    top = red[:, None] * _CRIMSON
    lower = edge[:, None] * _MAGENTA
    return body.astype(np.float32), lower.astype(np.float32), top.astype(np.float32)


@kernel
def _feet(along: Any, across: float, phase: float, folds: float, seed: float, out: Any) -> None:
    for index in range(along.size):
        x, y = along[index], across
        wave, push, pull = 420.0, 14.0 + 22.0 * folds, 20.0 + 34.0 * folds
        # Warps of falling size are composed, not added: each bends what the last has bent, as eddies do.
        for octave in range(4):
            z = phase * (0.55 + 0.22 * octave) + 31.7 * octave + seed
            dx = noise(x / wave, y / wave * 1.2, z)
            dy = noise(x / wave + 41.3, y / wave * 1.2 + 17.9, z + 5.3)
            x += push * dx
            y += pull * dy
            if octave == 0:
                wave, push, pull = 150.0, 8.0 + 64.0 * folds, 8.0 + 84.0 * folds
            elif octave == 1:
                wave, push, pull = 54.0, 1.5 + 31.0 * folds, 1.5 + 36.0 * folds
            else:
                wave, push, pull = 21.0, 7.0 * folds, 7.5 * folds
        out[index, 0] = x
        out[index, 1] = y


@kernel
def _draw(
    feet: Any, flux: Any, calm: Any, share: float, heading: float, half: float, horizon: float,
    thick: float, body: Any, lower: Any, top: Any, sharp: Any, soft: Any,
) -> None:  # fmt: skip
    # sharp and soft are pictures of the sky, first row on top; half is the tangent of half the field of view.
    height, width, _ = sharp.shape
    scale = width / (2 * half)
    cosine, sine = np.cos(heading), np.sin(heading)
    count = feet.shape[0]
    for index in range(1, count - 1):
        x, y = feet[index, 0], feet[index, 1]
        ahead = y * cosine + x * sine
        if ahead < 25.0:
            continue
        right = x * cosine - y * sine
        px, py = feet[index - 1, 0], feet[index - 1, 1]
        qx, qy = feet[index + 1, 0], feet[index + 1, 1]
        piece = 0.5 * np.hypot(qx - px, qy - py)
        spread = 0.5 * scale * abs(
            (qx * cosine - qy * sine) / max(25.0, qy * cosine + qx * sine)
            - (px * cosine - py * sine) / max(25.0, py * cosine + px * sine)
        )  # fmt: skip
        # A sheet is about a kilometre thick, and moves as much again while the shutter is open.
        spread = min(24.0, max(1.0, spread, thick * scale / ahead))
        if abs(right / ahead) > half * 1.25:
            continue
        drop = (x * x + y * y) / (2 * 6371.0)
        ray, still = flux[index], calm[index]
        shift = min(4.0, max(-4.0, 4.0 * (ray - 0.6)))
        stretch = 0.70 + 0.42 * min(1.8, ray)
        last = horizon - scale * (86.0 - drop) / ahead
        row = int(np.floor(last))
        h = 86.0
        while row >= 0 and h < 440.0:
            # The altitude at which this field line passes the middle of the row.
            slope = (horizon - row - 0.5) / scale
            h = (slope * (ahead + 0.21 * 105.0 * cosine) + drop) / (1 + slope * 0.21 * cosine)
            step = (ahead + 0.21 * (105.0 - h) * cosine) / scale / (1 + slope * 0.21 * cosine)
            front = ahead - 0.21 * (h - 105.0) * cosine
            if h < 84.0 or front < 12.0:
                row -= 1
                if front < 12.0:
                    break
                continue
            if row < height:
                side = (right + 0.21 * (h - 105.0) * sine) / front
                column = (side + half) * scale - 0.5
                squared = 1 + side * side + slope * slope
                seen = share * piece * step * scale * scale * np.sqrt(squared) / (front * front)
                at = h - 80.0 + shift
                if at > 28.0:
                    at = 28.0 + (at - 28.0) / stretch
                n = min(max(int(at), 0), 399)
                m = min(1.0, max(0.0, at - n))
                # Electrons that go that deep are those of bright curtains: the brighter, the more of it.
                under = 0.36 * ray * ray / (ray + 0.30)
                red = (
                    ray * (body[n, 0] * (1 - m) + body[n + 1, 0] * m)
                    + under * lower[n, 0]
                    + 0.022 * ray * top[n, 0]
                )
                green = ray * (body[n, 1] * (1 - m) + body[n + 1, 1] * m) + under * lower[n, 1]
                blue = (
                    ray * (body[n, 2] * (1 - m) + body[n + 1, 2] * m)
                    + under * lower[n, 2]
                    + 0.022 * ray * top[n, 2]
                )
                n = min(max(int(h - 80.0), 0), 399)
                above = 0.045 * still
                first, final = int(np.ceil(column - spread)), int(np.floor(column + spread))
                for c in range(max(0, first), min(width - 1, final) + 1):
                    weight = seen * (1 - abs(c - column) / spread) / spread
                    if weight > 0:
                        sharp[row, c, 0] += weight * red
                        sharp[row, c, 1] += weight * green
                        sharp[row, c, 2] += weight * blue
                        if above == 0:
                            continue
                        soft[row, c, 0] += weight * (above * top[n, 0] + 0.10 * still * body[n, 0])
                        soft[row, c, 1] += weight * (above * top[n, 1] + 0.10 * still * body[n, 1])
                        soft[row, c, 2] += weight * (above * top[n, 2] + 0.10 * still * body[n, 2])
            row -= 1


@kernel
def _patches(east: Any, north: Any, phase: float, seed: float, out: Any) -> None:
    for row in range(east.shape[0]):
        for column in range(east.shape[1]):
            x, y = east[row, column], north[row, column]
            x += 22.0 * noise(x / 70.0, y / 60.0, 0.3 * phase + seed)
            y += 16.0 * noise(x / 55.0 + 9.1, y / 48.0, 0.3 * phase + seed)
            blob = noise(x / 44.0 + 7.7, y / 26.0, 0.25 * phase + seed)
            blob += 0.5 * noise(x / 17.0, y / 13.0, 0.4 * phase + seed)
            beat = noise(x / 70.0, y / 52.0 + 3.1, 1.1 * phase + 71.0 + seed)
            patch = min(1.0, max(0.0, (blob + 0.05) * 1.7))
            out[row, column] = patch * patch * (3 - 2 * patch) * min(1.3, max(0.08, 0.5 + 1.5 * beat))


def blurred(picture: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """The picture, float32 (H, W, C), under a Gaussian of ``sigma`` pixels; wide ones on a smaller copy."""
    height, width, _ = picture.shape
    shrink = max(1, int(sigma / 2.5))
    small = resized(picture, max(2, width // shrink), max(2, height // shrink), box=shrink > 1)
    reach = sigma * small.shape[1] / width
    size = int(np.ceil(3 * reach))
    kernel = np.exp(-0.5 * (np.arange(-size, size + 1) / reach) ** 2)
    kernel = (kernel / kernel.sum()).astype(np.float32)
    for axis in (0, 1):
        small = _convolved(small, kernel, axis)
    return resized(small, width, height)


def blurred_down(picture: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """The picture, float32 (H, W, 3), smeared along its columns only."""
    size = int(np.ceil(2.6 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-size, size + 1) / sigma) ** 2)
    return _convolved(picture, (kernel / kernel.sum()).astype(np.float32), 0)


def _convolved(picture: NDArray[np.float32], kernel: NDArray[np.float32], axis: int) -> NDArray[np.float32]:
    size = kernel.size // 2
    pad = [(0, 0), (0, 0), (0, 0)]
    pad[axis] = (size, size)
    wide = np.pad(picture, pad, "edge")
    length = picture.shape[axis]
    total = np.zeros_like(picture)
    for k in range(kernel.size):
        total += (wide[k : k + length] if axis == 0 else wide[:, k : k + length]) * kernel[k]
    return total


def resized(
    picture: NDArray[np.float32], width: int, height: int, *, box: bool = False
) -> NDArray[np.float32]:
    """The picture, float32 (H, W, C), at another size: smooth, or averaged over boxes."""
    if picture.shape[:2] == (height, width):
        return picture
    how = Image.Resampling.BOX if box else Image.Resampling.BICUBIC
    out = np.empty((height, width, picture.shape[2]), np.float32)
    for c in range(picture.shape[2]):
        plane = Image.fromarray(np.ascontiguousarray(picture[..., c]))
        out[..., c] = np.asarray(plane.resize((width, height), how))
    return np.maximum(out, np.float32(0), out=out)


class Curtains:
    """The aurora as one camera sees it.

    Parameters
    ----------
    width, height : pixels of the picture of the sky, whose last row touches the horizon.
    half : tangent of half the horizontal field of view.
    azimuth : degrees east of north of the optical axis.
    seed : which of all possible nights this is.
    """

    def __init__(self, width: int, height: int, half: float, azimuth: float, seed: int) -> None:
        self._size = (height, width)
        self._half = half
        self._heading = float(np.radians(azimuth))
        self._seed = float(seed % 9973) * 3.61
        density = int(min(3000, max(420, int(width * 3.6))))
        # Points crowd where the sheet is near and each kilometre of it covers more pixels.
        self._along = 150.0 * np.sinh(np.linspace(-3.2, 3.2, density)) + 130.0 * np.sin(self._heading)
        self._body, self._lower, self._top = _profiles()
        rows, columns = max(8, height // 2), max(12, width // 2)
        up = (rows - 0.5 - np.arange(rows)) / columns * 2 * half
        side = (np.arange(columns) + 0.5) / columns * 2 * half - half
        x, y = np.meshgrid(side, up)
        self._patch_views = [self._ground(x, y, altitude) for altitude in (_PATCH_KM, _PATCH_KM + 13)]

    def _ground(
        self, x: NDArray[np.float64], y: NDArray[np.float64], altitude: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float32]]:
        """Where lines of sight pass an altitude (east, north in km), and how much light they gather."""
        elevation = np.arctan2(y, np.sqrt(1 + x * x))
        rise, shell = EARTH_KM * np.sin(elevation), EARTH_KM + altitude
        slant = np.sqrt(rise**2 + shell**2 - EARTH_KM**2) - rise
        ground = EARTH_KM * np.arctan2(slant * np.cos(elevation), EARTH_KM + slant * np.sin(elevation))
        heading = np.arctan(x) + self._heading
        path = shell / np.sqrt(shell**2 - (EARTH_KM * np.cos(elevation)) ** 2)
        north = ground * np.cos(heading)
        # The oval ends to the north; far patches would only be seen as streaks along the horizon.
        band = np.exp(-((np.maximum(0.0, ground - 210.0) / 190.0) ** 2))
        return ground * np.sin(heading), north, (np.minimum(path, 4.0) * band).astype(np.float32)

    def light(self, state: Mood) -> NDArray[np.float32]:
        """Linear sRGB light of the aurora, float32 (H, W, 3), 1.0 = clipping of the usual exposure."""
        height, width = self._size
        sharp, soft = np.zeros((height, width, 3), np.float32), np.zeros((height, width, 3), np.float32)
        feet = np.empty((self._along.size, 2))
        for number, (where, power, half_width) in enumerate(state.arcs):
            if power < 0.002:
                continue
            rays, calm = self._rays(state, number)
            for offset, share in _STRANDS:
                _feet(self._along, where + offset * half_width, state.phase, state.folds, self._seed, feet)
                lag = round(offset * 3)
                # The soft light is blurred so widely that one strand stands for all.
                still = 2 * power * calm if offset < 0 else 0 * calm
                _draw(
                    feet, power * np.roll(rays, lag), still, 1.8 * share, self._heading, self._half,
                    float(height), 0.6 + 0.5 * half_width, self._body, self._lower, self._top, sharp, soft,
                )  # fmt: skip
        pixel = width / 480.0
        near = blurred(sharp, max(0.45, 0.6 * pixel))
        # What is blurred widely is blurred at half size.
        half = (max(2, width // 2), max(2, height // 2))
        lit, high = resized(near, *half, box=True), resized(soft, *half, box=True)
        glow = np.float32(0.09) * blurred(lit, 3.0 * pixel) + np.float32(0.06) * blurred(lit, 13.0 * pixel)
        light = np.float32(0.85) * near + resized(glow + blurred(high, 5.5 * pixel), width, height)
        return light + self._diffuse(state)

    def _diffuse(self, state: Mood) -> NDArray[np.float32]:
        height, width = self._size
        total = np.zeros((*self._patch_views[0][0].shape, 1), np.float32)
        for (east, north, gathered), share in zip(self._patch_views, (0.62, 0.38), strict=True):
            patch = np.zeros(east.shape, np.float32)
            if state.patches > 0:
                _patches(east, north, state.phase, self._seed, patch)
            total[..., 0] += share * gathered * (state.patches * patch + 0.35 * state.veil)
        light = resized(blurred(total, max(0.5, 0.0045 * width)), width, height)
        return light * np.array([0.19, 1.0, 0.40], np.float32)

    def _rays(self, state: Mood, arc: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Brightness along an arc, with its rays and without."""
        u = self._along
        z = self._seed + 100.0 * arc
        soft = np.exp(1.0 * fractal(u / 190, np.full(u.shape, 0.8 * state.phase), z, octaves=2))
        alive = np.full(u.shape, state.ray_phase)
        drift = 0.6 * alive
        thick = fractal(u / 21 + drift, 0.8 * alive, z + 31, octaves=2, gain=0.6)
        thin = fractal(u / 6.0 + 1.3 * drift, 1.1 * alive, z + 57, octaves=2, gain=0.7)
        fine = fractal(u / 2.2 + 2.1 * drift, 1.6 * alive, z + 71, octaves=2, gain=0.6)
        gate = np.clip(0.6 + 1.2 * fractal(u / 80, 0.6 * alive, z + 83, octaves=1), 0.12, 1.2)
        ray = np.exp(state.contrast * gate * (1.15 * thick + 0.95 * thin + 0.6 * fine - 0.25))
        return (soft * ray).astype(np.float64), soft.astype(np.float64)
