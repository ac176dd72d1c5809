"""The land: a frozen river in a valley, hills with trees, mountains behind, as maps that await their light.

Heights are in metres above the ice, places in metres east and north of the cameras.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.demo.noise import fractal
from archive.engine.kernels.compiled import kernel

EYE_M = 4.6
_AXIS = np.radians(64.0)
"""Direction in which the river runs, east of north."""


@dataclass(frozen=True, kw_only=True)
class Land:
    """What the camera sees below the sky, float32 (H, W) each.

    A pixel's light is ``sky`` × the sky there + ``ambient`` × the mean light of the sky + ``direct`` × the
    light of the aurora in the north + ``mirror`` × the sky reflected at the horizon, + ``lamp`` × lamplight.
    """

    sky: NDArray[np.float32]
    ambient: NDArray[np.float32]
    direct: NDArray[np.float32]
    mirror: NDArray[np.float32]
    lamp: NDArray[np.float32]


def _step(low: float, high: float, value: NDArray[Any]) -> NDArray[Any]:
    share = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share))


def shore(x: NDArray[Any], y: NDArray[Any]) -> NDArray[Any]:
    """Distance from the river's edge in metres, negative on the ice."""
    along = x * np.sin(_AXIS) + y * np.cos(_AXIS)
    across = -x * np.cos(_AXIS) + y * np.sin(_AXIS)
    reach = _step(60, 900, np.abs(along))
    middle = 33 + reach * (95 * np.sin(along / 330 + 0.6) + 30 * np.sin(along / 127))
    width = 46 + 7 * np.sin(along / 61 + 2) + 3 * fractal(x / 21, y / 21, 2.5, octaves=3)
    return np.asarray(np.abs(across - middle) - width)


def _forest(x: NDArray[Any], y: NDArray[Any], height: NDArray[Any]) -> NDArray[Any]:
    """Share of ground under trees, 0 to 1: clumps, thinning out toward the tree line."""
    clumps = fractal(x / 520, y / 520, 8.8, octaves=5, gain=0.58)
    return np.asarray(_step(-0.40, 0.12, clumps) * (1 - _step(150, 400, height + 190 * clumps)))


def reflectance(tangent: NDArray[Any]) -> NDArray[Any]:
    """Share of unpolarised light that bare ice mirrors, seen downwards under this tangent.

    Fresnel's equations for a refractive index of 1.31 (ice in visible light, Warren and Brandt 2008).
    """
    cosine = np.clip(tangent, 0.002, None) / np.hypot(1, np.clip(tangent, 0.002, None))
    inside = np.sqrt(1 - (1 - cosine**2) / 1.31**2)
    across = (cosine - 1.31 * inside) / (cosine + 1.31 * inside)
    along = (inside - 1.31 * cosine) / (inside + 1.31 * cosine)
    return np.asarray(0.5 * (across**2 + along**2))


@kernel
def _cracks(x: Any, y: Any, size: float, scatter: Any, out: Any) -> None:
    for index in range(x.size):
        u, v = x[index] / size, y[index] / size
        i, j = int(np.floor(u)), int(np.floor(v))
        first, second = 9.0, 9.0
        for row in range(j - 1, j + 2):
            for column in range(i - 1, i + 2):
                a = u - column - scatter[row & 63, column & 63, 0]
                b = v - row - scatter[row & 63, column & 63, 1]
                far = np.sqrt(a * a + b * b)
                if far < first:
                    first, second = far, first
                elif far < second:
                    second = far
        out[index] = (second - first) * size


def cracks(x: NDArray[Any], y: NDArray[Any]) -> NDArray[Any]:
    """How much frost fills the cracks of the ice at each place, 0 to 1; plates of two sizes, some healed."""
    # Plates grew around points, one somewhere in every cell; they part where two are equally near.
    scatter = np.random.Generator(np.random.PCG64(31)).uniform(0, 1, (64, 64, 2))
    total = np.zeros(x.shape, np.float32)
    bent = 0.35 * fractal(x / 3.1, y / 3.1, 12.5, octaves=3)
    for size, width in ((31.0, 0.10), (11.0, 0.05)):
        gap = np.empty(x.size, np.float32)
        _cracks((x + bent).ravel(), (y - bent).ravel(), size, scatter, gap)
        open_ = np.clip(0.4 + 2.2 * fractal(x / (1.4 * size), y / (1.4 * size), size, octaves=2), 0, 1)
        total = np.maximum(total, open_ * np.exp(-((gap.reshape(x.shape) / width) ** 2)))
    return np.asarray(total)


def heights(x: NDArray[Any], y: NDArray[Any]) -> NDArray[Any]:
    """Height of the ground in metres above the ice."""
    edge = shore(x, y)
    across = -x * np.cos(_AXIS) + y * np.sin(_AXIS)
    far = np.hypot(x, y)
    bank = _step(0, 10, edge) * (1.6 + 0.8 * fractal(x / 17, y / 17, 1.2, octaves=3)) + 0.004 * np.maximum(
        0, edge
    )
    rolls = fractal(x / 2300, y / 2300, 14.2, octaves=6, gain=0.47)
    hills = _step(230, 3000, np.abs(across - 40)) * (330 + 380 * rolls)
    crest = 1 - np.abs(fractal(x / 4200, y / 4200, 6.1, octaves=6, gain=0.48)) * 1.7
    peaks = _step(3800, 9500, far) * np.maximum(0, 260 + 640 * (crest - 0.35) + 250 * rolls)
    return np.asarray(bank + np.maximum(0, hills) + peaks)


class _View:
    """Columns of equal azimuth and rows of equal tangent, finer than the picture by ``fine``."""

    def __init__(
        self, width: int, height: int, horizon: float, half: float, azimuth: float, fine: int
    ) -> None:
        self.width, self.height = width * fine, height * fine
        self.scale = self.width / (2 * half)
        self.horizon = horizon * fine
        self.side = (np.arange(self.width) + 0.5) / self.scale - half
        self.turn = np.radians(azimuth)

    def place(self, ahead: NDArray[Any], side: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
        """East and north of what lies ``ahead`` metres in front and in the direction ``side``."""
        right = ahead * side
        return (
            ahead * np.sin(self.turn) + right * np.cos(self.turn),
            ahead * np.cos(self.turn) - right * np.sin(self.turn),
        )


def landscape(
    width: int, height: int, horizon: float, half: float, azimuth: float, *, trees: int, seed: int
) -> Land:
    """The land in a picture of ``width`` × ``height`` pixels whose row ``horizon`` is level with the eye.

    Parameters
    ----------
    half : tangent of half the horizontal field of view; ``azimuth`` of the optical axis in degrees.
    trees : how many trees are tried in the ground near the river.
    """
    fine = 2 if width <= 2000 else 1
    view = _View(width, height, horizon, half, azimuth, fine)
    steps = int(np.clip(width * 0.5, 180, 520))
    ahead = 7.0 * (16000 / 7.0) ** (np.arange(steps) / (steps - 1))
    # Every other column is enough for the ground; between them it is a straight line.
    coarse = view.side[:: max(1, fine)]
    x, y = view.place(ahead[:, None], coarse[None])
    ground = heights(x, y)
    wood = _forest(x, y, ground)
    fuzz = np.minimum(1, ahead[:, None] / 900) * (5 + 9 * np.abs(fractal(x / 23, y / 23, 3.3, octaves=2)))
    canopy = ground + wood * fuzz * (shore(x, y) > 30)
    slope_ahead = np.gradient(ground, axis=0) / np.gradient(ahead)[:, None]
    slope_side = np.gradient(ground, axis=1) / (ahead[:, None] * (coarse[1] - coarse[0]))
    if fine == 2:
        after = np.concatenate([canopy[:, 1:], canopy[:, -1:]], axis=1)
        canopy = np.stack([canopy, 0.5 * (canopy + after)], axis=2).reshape(steps, view.width)
    tangent = (canopy - EYE_M) / ahead[:, None]
    reach = np.maximum.accumulate(tangent, axis=0)
    rows = (view.horizon - np.arange(view.height) - 0.5) / view.scale
    hit = np.stack([np.searchsorted(reach[:, column], rows) for column in range(view.width)], axis=1)
    empty = hit >= steps
    after = np.minimum(hit, steps - 1)
    before = np.maximum(after - 1, 0)
    columns = np.broadcast_to(np.arange(view.width), hit.shape)
    low, high = reach[before, columns], tangent[after, columns]
    share = np.clip((rows[:, None] - low) / np.maximum(high - low, 1e-9), 0, 1)
    depth = np.where(empty, np.inf, ahead[before] + share * (ahead[after] - ahead[before]))
    shades = np.zeros((5, height, width), np.float32)
    # The lowest of a pixel's finer rows decides its shade; the ridge's edge is kept by the finer coverage.
    i, j = np.nonzero(~empty[fine - 1 :: fine, ::fine])
    spot = (after[fine - 1 :: fine, ::fine][i, j], j)
    shaded = _Spots(
        rows=i, columns=j, ahead=depth[fine - 1 :: fine, ::fine][i, j], side=coarse[j],
        down=rows[fine - 1 :: fine][i], slope_ahead=slope_ahead[spot], slope_side=slope_side[spot],
        wood=wood[spot],
    )  # fmt: skip
    _shade(shades, shaded, view)
    maps = shades.repeat(fine, axis=1).repeat(fine, axis=2)
    maps[:, empty] = np.array([1, 0, 0, 0, 0], np.float32)[:, None]
    random = np.random.Generator(np.random.PCG64(seed))
    _plant(maps, depth, view, trees, random)
    small = _softened(maps.reshape(5, height, fine, width, fine).mean(axis=(2, 4), dtype=np.float32))
    return Land(sky=small[0], ambient=small[1], direct=small[2], mirror=small[3], lamp=small[4])


def _softened(maps: NDArray[np.float32]) -> NDArray[np.float32]:
    """What a lens leaves of the finest detail; without it a colour mosaic would turn edges into colours."""
    for axis in (1, 2):
        after, before = np.roll(maps, -1, axis), np.roll(maps, 1, axis)
        edge = [slice(None)] * 3
        for end, side in ((-1, after), (0, before)):
            edge[axis] = slice(end, None) if end else slice(0, 1)
            side[tuple(edge)] = maps[tuple(edge)]
        maps = np.float32(0.70) * maps + np.float32(0.15) * (after + before)
    return maps


@dataclass(frozen=True, kw_only=True)
class _Spots:
    """Places of ground in the picture: where seen, how far, under which tangent, slopes and trees."""

    rows: NDArray[Any]
    columns: NDArray[Any]
    ahead: NDArray[Any]
    side: NDArray[Any]
    down: NDArray[Any]
    slope_ahead: NDArray[Any]
    slope_side: NDArray[Any]
    wood: NDArray[Any]


def _shade(maps: NDArray[np.float32], spots: _Spots, view: _View) -> None:
    i, j, ahead, wood = spots.rows, spots.columns, spots.ahead, spots.wood
    slope_ahead, slope_side = spots.slope_ahead, spots.slope_side
    x, y = view.place(ahead, spots.side)
    edge = shore(x, y)
    ice = 1 - _step(-1.5, 1.0, edge)
    norm = 1 / np.sqrt(1 + slope_ahead**2 + slope_side**2)
    # The aurora's light comes from 35° above the north horizon.
    north_ahead, north_side = np.cos(view.turn), -np.sin(view.turn)
    facing = (0.57 - 0.82 * (slope_ahead * north_ahead + slope_side * north_side)) * norm
    drift = (
        0.9 + 0.28 * fractal(x / 9, y / 9, 7.7, octaves=4) + 0.10 * fractal(x / 1.7, y / 1.7, 9.1, octaves=2)
    )
    grain = 1 + 0.5 * fractal(x / 16, y / 16, 5.5, octaves=3, gain=0.6)
    snow_ambient = 0.40 * drift * (0.45 + 0.55 * norm)
    snow_direct = 0.36 * drift * np.maximum(0, facing)
    # Far trees are dots on the snow: their crowns stand side by side, and gaps between them show it.
    dots = fractal(spots.side * 1400, spots.rows * 0.55, 2.2, octaves=2, gain=0.7)
    dark = np.clip(1.45 * wood + 0.9 * (dots - 0.10) * (wood > 0.03), 0, 1) * (edge > 12)
    snow_ambient = snow_ambient * (1 - dark) + 0.075 * grain * dark
    snow_direct = snow_direct * (1 - dark) + 0.035 * grain * dark
    drifted = fractal(x / 30, y / 30, 4.9, octaves=5, gain=0.55) + 0.25 * _step(-9, 0, edge)
    cover = _step(0.02, 0.30, drifted)
    bare = (ice > 0.01) & (cover < 0.99) & (ahead < 300)
    crack = np.zeros(ahead.shape)
    crack[bare] = cracks(x[bare], y[bare]) * np.exp(-ahead[bare] / 90)
    glare = 0.86 * reflectance(-spots.down)
    ice_ambient = cover * 0.36 * drift + (1 - cover) * (0.022 + 0.13 * crack)
    ice_direct = cover * 0.20 * drift + (1 - cover) * 0.06 * crack
    haze = 1 - np.exp(-ahead / 40000)
    maps[1][i, j] = (ice * ice_ambient + (1 - ice) * snow_ambient) * (1 - haze) + 0.55 * haze
    maps[2][i, j] = (ice * ice_direct + (1 - ice) * snow_direct) * (1 - haze)
    maps[3][i, j] = ice * (1 - 0.85 * cover) * glare


def _plant(
    maps: NDArray[np.float32], depth: NDArray[Any], view: _View, count: int, random: np.random.Generator
) -> None:
    """Paints spruces and a lit cabin into the maps, far ones first."""
    half = view.side[-1] * 1.1
    ahead = 34 * (2600 / 34) ** random.uniform(0, 1, count) ** 0.75
    side = random.uniform(-half, half, count)
    x, y = view.place(ahead, side)
    ground, edge = heights(x, y), shore(x, y)
    tall = 2.2 + 13.5 * random.uniform(0, 1, count) ** 1.6
    luck = random.uniform(0, 1, count)
    clump = fractal(x / 75, y / 75, 21.5, octaves=3, gain=0.6)
    grove = np.clip(_forest(x, y, ground) * 1.25 + 0.10, 0, 1) * _step(-0.24, 0.26, clump)
    shape = random.uniform(0, 1, (count, 3))
    pixels = tall / ahead * view.scale
    order = np.argsort(-ahead)
    for tree in order[(luck < grove)[order] & ((edge > 7) & (ground < 70))[order] & (pixels > 1.5)[order]]:
        _spruce(maps, depth, view, ahead[tree], side[tree], ground[tree], tall[tree], shape[tree])
    _cabin(maps, depth, view)


def _spruce(
    maps: NDArray[np.float32], depth: NDArray[Any], view: _View,
    ahead: float, side: float, ground: float, tall: float, shape: NDArray[Any],
) -> None:  # fmt: skip
    foot = view.horizon - (ground - EYE_M) / ahead * view.scale
    top = foot - tall / ahead * view.scale
    middle = (side + view.side[-1]) * view.scale + 0.5
    slim, dense, luck = shape
    span = (0.11 + 0.11 * slim) * (foot - top)
    rows = np.arange(max(0, int(top)), min(view.height, int(foot) + 2))
    columns = np.arange(max(0, int(middle - span) - 2), min(view.width, int(middle + span) + 3))
    if not rows.size or not columns.size:
        return
    down = (rows + 0.5 - top) / (foot - top)
    # Both sides of a crown have branches of their own, of uneven length, hanging a little at the tips.
    outline = span * np.clip(down, 0, 1) ** (0.75 + 0.5 * dense) * np.clip(22.0 * (1.0 - down), 0.3, 1)
    tiers = (10 + 9 * dense) * np.maximum(down, 0) ** 0.85
    ragged = [fractal(tiers * 1.3, np.full(tiers.shape, 7.3 * key), 50 * luck, octaves=2, gain=0.8)
              for key in (1, 2)]  # fmt: skip
    saw = [1 - (0.20 + 0.30 * slim) * ((tiers + 3 * luck + shift) % 1.0) for shift in (0.0, 0.37)]
    reach = [outline * np.clip(tooth + 0.45 * rough, 0.16, 1.4) + 0.35
             for tooth, rough in zip(saw, ragged, strict=True)]  # fmt: skip
    lean = middle + 0.35 * (luck - 0.5) * span * (1 - down) ** 2
    right = columns[None] + 0.5 - lean[:, None]
    off = np.where(right < 0, -right / reach[0][:, None], right / reach[1][:, None])
    box = np.ix_(rows, columns)
    inside = (off < 1) & (down > 0)[:, None] & (down < 1)[:, None] & (depth[box] > ahead - 1)
    # Snow lies in patches on the branches, more of it outside.
    patch = fractal(right / (0.30 * span + 0.5) + 40 * luck, tiers[:, None] * 0.9, 9.7, octaves=2, gain=0.7)
    snow = np.clip(1.9 * patch - 0.25 + 0.5 * dense, 0, 0.9) * (0.2 + 0.8 * np.minimum(off, 1)) * dense
    for index, value in (
        (0, 0.0 * snow),
        (1, 0.016 + 0.075 * snow),
        (2, 0.006 + 0.03 * snow),
        (3, 0.0 * snow),
    ):
        plane = maps[index]
        plane[box] = np.where(inside, value, plane[box])
    depth[box] = np.where(inside, ahead, depth[box])


def _cabin(maps: NDArray[np.float32], depth: NDArray[Any], view: _View) -> None:
    """One window, with the light that falls from it on the snow; only where the camera looks that way."""
    east, north = 62.0, 232.0
    ahead = east * np.sin(view.turn) + north * np.cos(view.turn)
    right = east * np.cos(view.turn) - north * np.sin(view.turn)
    if ahead < 20 or abs(right / ahead) > view.side[-1]:
        return
    ground = float(heights(np.array([east]), np.array([north]))[0])
    base = view.horizon - (ground - EYE_M) / ahead * view.scale
    middle = (right / ahead + view.side[-1]) * view.scale
    metre = view.scale / ahead
    rows, columns = np.arange(view.height)[:, None] + 0.5, np.arange(view.width)[None] + 0.5
    up, off = (base - rows) / metre, (columns - middle) / metre
    wall = (up > 0) & (up < 2.6) & (np.abs(off) < 4)
    roof = (up >= 2.6) & (up < 5.2) & (np.abs(off) < 4.8 - 1.4 * (up - 2.6))
    for index, value in ((0, 0.0), (1, 0.03), (2, 0.0), (3, 0.0)):
        maps[index][wall] = value
    for index, value in ((0, 0.0), (1, 0.42), (2, 0.12), (3, 0.0)):
        maps[index][roof] = value
    depth[wall | roof] = ahead
    window = (up > 0.9) & (up < 1.9) & (np.abs(np.abs(off) - 1.7) < 0.75)
    spill = np.exp(-((off / 9) ** 2) - ((up + 1.5) / 2.6) ** 2) * (up < 0.3) * 0.045
    maps[4][:] += np.where(window, 1.0, np.where(wall | roof, 0.0, spill)).astype(np.float32)
