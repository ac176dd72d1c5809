"""The aurora: curtains of light above a map of the ground, folded by turbulence, seen in true perspective.

Electrons rain down along sheets that the domain-warped coordinate ``v`` of a map marks out; the light they
make has an altitude profile for each emission; each line of sight is integrated through both. Between two
altitudes the crossing of a sheet is integrated in closed form, so thin curtains never break into steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray

from archive.demo.noise import fractal, noise

EARTH_KM = 6371.0
TILT = 0.21
"""Horizontal shift toward magnetic north per unit of height: field lines lean 12° at this latitude."""
ALTITUDES_KM = np.array(
    [90, 94, 97, 100, 103, 106, 109, 112, 116, 121, 127, 135, 146, 160, 178, 202, 235, 280, 350, 450], np.float64
)
_GRID_NEAR, _GRID_FAR = 18.0, 1500.0
_RAY_STEP_KM = 0.5
_RAY_SPAN_KM = 2600.0
_GREEN = np.array([0.13, 1.0, 0.30])
_BLUE = np.array([0.20, 0.16, 0.95])
_MAGENTA = np.array([1.0, 0.20, 0.78])
_CRIMSON = np.array([1.0, 0.09, 0.24])


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
        phase=seconds / 420.0 + spent / 150.0,
        ray_phase=seconds / 110.0 + spent / 55.0,
        contrast=0.55 + 0.75 * burst,
        arcs=(
            (238.0 - 58.0 * south, 0.15 + 0.06 * _step(0.0, 0.25, t) + 0.46 * burst - 0.17 * late, 1.5),
            (318.0 - 46.0 * south, 0.06 + 0.40 * burst - 0.035 * late, 2.2),
            (150.0 - 40.0 * south, 0.34 * flare + 0.05 * burst, 1.8),
        ),
        patches=0.052 * late * (1 - 0.35 * _step(0.85, 1.0, t)),
        veil=0.012 + 0.040 * burst + 0.010 * late,
    )


def _profiles() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Light per km of altitude from 80 to 480 km in 1 km steps: body, lower edge and upper part; (401, 3)."""
    h = np.arange(80.0, 481.0)
    below, above = np.minimum(h, 108) - 108, np.maximum(h, 108) - 108
    green = np.exp(-((below / 5.5) ** 2)) * (0.80 * np.exp(-above / 19) + 0.20 * np.exp(-above / 62))
    blue = np.exp(-(((np.minimum(h, 104) - 104) / 5) ** 2)) * (
        0.7 * np.exp(-(np.maximum(h, 104) - 104) / 14) + 0.3 * np.exp(-(np.maximum(h, 104) - 104) / 70)
    )
    edge = np.exp(-((np.minimum(h, 98) - 98) ** 2) / 9) * np.exp(-((np.maximum(h, 98) - 98) ** 2) / 30)
    red = np.exp(-(((np.minimum(h, 235) - 235) / 62) ** 2)) * np.exp(-(np.maximum(h, 235) - 235) / 85)
    body = green[:, None] * _GREEN + 0.20 * blue[:, None] * _BLUE
    top = red[:, None] * _CRIMSON
    lower = edge[:, None] * _MAGENTA
    return body.astype(np.float32), lower.astype(np.float32), top.astype(np.float32)


@nb.njit(nogil=True, error_model="numpy")
def _coordinates(east: Any, north: Any, phase: float, folds: float, seed: float, out: Any) -> None:
    for row in range(east.shape[0]):
        for column in range(east.shape[1]):
            x, y = east[row, column], north[row, column]
            wave, along, across = 430.0, 10.0 + 20.0 * folds, 22.0 + 34.0 * folds
            # Warps of falling size are composed, not added: each bends what the last has bent, as eddies do.
            for octave in range(4):
                z = phase * (0.6 + 0.25 * octave) + 31.7 * octave + seed
                dx = noise(x / wave, y / wave * 1.25, z)
                dy = noise(x / wave + 41.3, y / wave * 1.25 + 17.9, z + 5.3)
                x += along * dx
                y += across * dy
                if octave == 0:
                    wave, along, across = 150.0, 6.0 + 34.0 * folds, 7.0 + 42.0 * folds
                elif octave == 1:
                    wave, along, across = 56.0, 1.5 + 16.0 * folds, 1.2 + 17.0 * folds
                else:
                    wave, along, across = 23.0, 4.5 * folds, 4.5 * folds
            out[row, column, 0] = x
            out[row, column, 1] = y
            blob = noise(x / 46.0 + 7.7, y / 30.0, 0.35 * phase + seed) + 0.45 * noise(x / 19.0, y / 15.0, seed)
            beat = noise(x / 60.0, y / 45.0 + 3.1, 1.15 * phase + 71.0 + seed)
            patch = min(1.0, max(0.0, (blob - 0.02) * 2.3))
            out[row, column, 3] = patch * patch * (3 - 2 * patch) * (0.35 + 0.9 * max(0.0, 0.35 + beat))


@nb.njit(nogil=True, error_model="numpy")
def _integrate(
    geometry: Any, path: Any, field: Any, arcs: Any, rays: Any, body: Any, lower: Any, top: Any, altitudes: Any,
    veil: float, patches: float, out: Any,
) -> None:  # fmt: skip
    height, width, levels, _ = geometry.shape
    arc_count = arcs.shape[0]
    before = np.zeros((8, 4))
    for row in range(height):
        for column in range(width):
            red = green = blue = 0.0
            last_u = last_v = last_g = last_p = 0.0
            for level in range(levels):
                gi, gj = geometry[row, column, level, 0], geometry[row, column, level, 1]
                i, j = int(gi), int(gj)
                fi, fj = gi - i, gj - j
                a, b = (1 - fi) * (1 - fj), (1 - fi) * fj
                c, d = fi * (1 - fj), fi * fj
                near, far = field[i], field[i + 1]
                u = a * near[j, 0] + b * near[j + 1, 0] + c * far[j, 0] + d * far[j + 1, 0]
                v = a * near[j, 1] + b * near[j + 1, 1] + c * far[j, 1] + d * far[j + 1, 1]
                g = a * near[j, 2] + b * near[j + 1, 2] + c * far[j, 2] + d * far[j + 1, 2]
                p = a * near[j, 3] + b * near[j + 1, 3] + c * far[j, 3] + d * far[j + 1, 3]
                for arc in range(arc_count):
                    for kind in range(3):
                        offset = (v - arcs[arc, 0]) * g / (arcs[arc, 2 + kind])
                        here = 0.5 * offset / np.sqrt(1 + offset * offset)
                        if level > 0:
                            span = (v - last_v) * 0.5 * (g + last_g)
                            length = path[row, level - 1]
                            if abs(span) > 0.02 * arcs[arc, 2 + kind]:
                                amount = length * (here - before[arc, kind]) / span
                            else:
                                amount = length * 0.5 / arcs[arc, 2 + kind] / (1 + offset * offset) ** 1.5
                            share = 0.5
                            if abs(v - last_v) > 1e-6:
                                share = min(1.0, max(0.0, (arcs[arc, 0] - last_v) / (v - last_v)))
                            where = last_u + share * (u - last_u)
                            h = altitudes[level - 1] + share * (altitudes[level] - altitudes[level - 1])
                            spot = (where + 1300.0) * 2.0
                            k = min(max(int(spot), 0), rays.shape[2] - 2)
                            f = min(1.0, max(0.0, spot - k))
                            ray = rays[arc, 0, k] * (1 - f) + rays[arc, 0, k + 1] * f
                            soft = rays[arc, 1, k] * (1 - f) + rays[arc, 1, k + 1] * f
                            if kind == 0:
                                flux = arcs[arc, 1] * ray
                                shift = min(7.0, max(-8.0, 6.0 * (flux - 0.55)))
                                reach = 0.75 + 0.5 * min(1.6, ray)
                                at = h + shift - 80.0
                                if at > 28.0:
                                    at = 28.0 + (at - 28.0) / reach
                                bright = 0.78 * flux
                                under = 0.85 * max(0.0, flux - 0.30) * min(1.0, flux)
                                above = 0.11 * flux
                            elif kind == 1:
                                flux = arcs[arc, 1] * soft
                                at = h - 80.0
                                bright, under, above = 0.30 * flux, 0.0, 0.05 * flux
                            else:
                                flux = arcs[arc, 1] * soft
                                at = h - 80.0
                                bright, under, above = 0.0, 0.0, 0.17 * flux
                            n = min(max(int(at), 0), 399)
                            m = min(1.0, max(0.0, at - n))
                            bright, under, above = amount * bright, amount * under, amount * above
                            red += bright * (body[n, 0] * (1 - m) + body[n + 1, 0] * m)
                            green += bright * (body[n, 1] * (1 - m) + body[n + 1, 1] * m)
                            blue += bright * (body[n, 2] * (1 - m) + body[n + 1, 2] * m)
                            red += under * lower[n, 0] + above * top[n, 0]
                            green += under * lower[n, 1] + above * top[n, 1]
                            blue += under * lower[n, 2] + above * top[n, 2]
                        before[arc, kind] = here
                if level > 0:
                    n = int(0.5 * (altitudes[level] + altitudes[level - 1])) - 80
                    band = np.exp(-(((v - 215.0) / 120.0) ** 2))
                    light = path[row, level - 1] / 30.0 * (veil * band + patches * 0.5 * (p + last_p))
                    red += light * (body[n, 0] + 0.10 * top[n, 0])
                    green += light * body[n, 1]
                    blue += light * body[n, 2]
                last_u, last_v, last_g, last_p = u, v, g, p
            out[row, column, 0] = red
            out[row, column, 1] = green
            out[row, column, 2] = blue


class Curtains:
    """The aurora as one camera sees it: geometry worked out once, light at any moment after.

    Parameters
    ----------
    across, up : float64, tangents of each column's azimuth from the optical axis, (W,), and of each row's
        height above the horizon, (H,); rows must be at or above the horizon.
    azimuth : degrees east of north of the optical axis.
    seed : which of all possible nights this is.
    """

    def __init__(
        self, across: NDArray[np.float64], up: NDArray[np.float64], azimuth: float, seed: int
    ) -> None:
        self._seed = float(seed % 9973) * 3.61
        reach = np.abs(np.arctan(across)).max() + 0.10
        columns = int(min(384, max(64, across.size)))
        rows = int(min(220, max(64, across.size // 2)))
        bearing = np.linspace(-reach, reach, columns) + np.radians(azimuth)
        log_far, log_near = np.log(_GRID_FAR), np.log(_GRID_NEAR)
        distance = np.exp(np.linspace(log_near, log_far, rows))
        self._east = distance[:, None] * np.sin(bearing)[None]
        self._north = distance[:, None] * np.cos(bearing)[None]
        self._steps = (distance * (log_far - log_near) / (rows - 1), 2 * reach / (columns - 1) * distance)
        x, y = np.meshgrid(across, up)
        elevation = np.arctan2(y, np.sqrt(1 + x * x))[..., None]
        shell = EARTH_KM + ALTITUDES_KM
        rise = EARTH_KM * np.sin(elevation)
        slant = np.sqrt(rise**2 + shell**2 - EARTH_KM**2) - rise
        ground = EARTH_KM * np.arctan2(slant * np.cos(elevation), EARTH_KM + slant * np.sin(elevation))
        heading = np.arctan(x)[..., None] + np.radians(azimuth)
        east = ground * np.sin(heading)
        north = ground * np.cos(heading) + TILT * (ALTITUDES_KM - 105)
        i = (np.log(np.maximum(np.hypot(east, north), 1.0)) - log_near) / (log_far - log_near) * (rows - 1)
        turn = np.arctan2(east, north) - np.radians(azimuth)
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        j = (turn + reach) / (2 * reach) * (columns - 1)
        self._geometry = np.stack([np.clip(i, 0, rows - 1.001), np.clip(j, 0, columns - 1.001)], -1).astype(np.float32)
        middle = slant[:, across.size // 2]
        self._path = np.ascontiguousarray(np.diff(middle, axis=1))
        self._body, self._lower, self._top = _profiles()

    def light(self, state: Mood) -> NDArray[np.float32]:
        """Linear sRGB light of the aurora for every pixel, float32 (H, W, 3), 1.0 = clipping of a usual exposure."""
        field = np.empty((*self._east.shape, 4), np.float32)
        _coordinates(self._east, self._north, state.phase, state.folds, self._seed, field)
        radial, sideways = self._steps
        slope = np.hypot(
            np.gradient(field[..., 1], axis=0) / radial[:, None], np.gradient(field[..., 1], axis=1) / sideways[:, None]
        )
        field[..., 2] = 1 / np.maximum(slope, 0.45)
        arcs = np.array([(where, power, width, 4.5 * width, 11 * width) for where, power, width in state.arcs])
        out = np.empty((*self._geometry.shape[:2], 3), np.float32)
        _integrate(
            self._geometry, self._path, field, arcs, self._rays(state), self._body, self._lower, self._top,
            ALTITUDES_KM, state.veil, state.patches, out,
        )  # fmt: skip
        return out

    def _rays(self, state: Mood) -> NDArray[np.float32]:
        """Brightness along each arc: with rays, and without; float32 (arcs, 2, positions along it)."""
        u = np.arange(0, _RAY_SPAN_KM, _RAY_STEP_KM)
        tables = []
        for arc in range(len(state.arcs)):
            z = self._seed + 100.0 * arc
            still = np.full(u.shape, state.phase)
            alive = np.full(u.shape, state.ray_phase)
            soft = np.exp(0.9 * fractal(u / 210 + 0.21 * still, 0.8 * still, z, octaves=2))
            thick = fractal(u / 26 + 0.5 * still, 0.9 * alive, z + 31, octaves=2, gain=0.6)
            thin = fractal(u / 9.0 + 0.7 * still, 1.3 * alive, z + 57, octaves=2, gain=0.55)
            gate = np.clip(0.55 + 1.3 * fractal(u / 90, 0.7 * alive, z + 83, octaves=1), 0.1, 1.2)
            ray = np.exp(state.contrast * gate * (1.1 * thick + 0.9 * thin))
            tables.append(np.stack([soft * ray, soft]))
        return np.stack(tables).astype(np.float32)
