"""What a camera's lens draws on its sensor at one moment: sky, land and the sky's sheen on the ice."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.demo import aurora, scene, sky
from archive.engine.kernels.compiled import kernel

_LAMP = np.array([1.0, 0.56, 0.22], np.float32) * np.float32(0.42)


@kernel
def _compose(
    picture: Any, horizon: int, sky_share: Any, ambient: Any, direct: Any, mirror: Any, lamp: Any,
    dome: Any, front: Any, lamplight: Any, mirrored: Any,
) -> None:  # fmt: skip
    height, width, _ = picture.shape
    for row in range(height):
        for column in range(width):
            clear, around = sky_share[row, column], ambient[row, column]
            north, light = direct[row, column], lamp[row, column]
            sheen = mirror[row, column]
            for c in range(3):
                value = (
                    clear * picture[row, column, c]
                    + around * dome[c]
                    + north * front[c]
                    + light * lamplight[c]
                )
                if row >= horizon:
                    value += sheen * mirrored[row - horizon, column, c]
                picture[row, column, c] = value


class View:
    """One camera's fixed view, and its light at any moment.

    Parameters
    ----------
    width, height : pixels of the upright picture.
    half : tangent of half the horizontal field of view; ``azimuth`` of the optical axis in degrees.
    horizon : share of the picture's height above the horizon. The lens is shifted, not tilted.
    """

    def __init__(
        self,
        *,
        width: int,
        height: int,
        half: float,
        azimuth: float,
        horizon: float,
        latitude: float,
        longitude: float,
        seed: int,
    ) -> None:
        self._size = (height, width)
        self._half = half
        self._longitude = longitude
        self._sky_rows = round(horizon * height)
        self._land = scene.landscape(
            width,
            height,
            self._sky_rows,
            half,
            azimuth,
            trees=int(min(9000, 1800 + 7 * width)),
            seed=seed + 1,
        )
        small = max(48, min(1200, width // 2))
        self._grow = width / small
        self._small = (int(np.ceil(self._sky_rows / self._grow)) + 1, small)
        self._curtains = aurora.Curtains(small, self._small[0], half, azimuth, seed)
        self._heavens = sky.Heavens(width, self._sky_rows, half, azimuth, latitude, seed + 2)

    def light(
        self, moment: datetime, mood: aurora.Mood, trail: NDArray[np.float64] | None = None
    ) -> NDArray[np.float32]:
        """Noiseless linear sRGB light, float32 (H, W, 3), 1.0 = clipping at the sensor's usual exposure.

        Parameters
        ----------
        moment : aware instant in the middle of the exposure.
        trail : points of something that flies by, rows of (tangent right, tangent up, red, green, blue).
        """
        height, width = self._size
        rows, columns = self._small
        sidereal = sky.sidereal_angle(moment, self._longitude)
        glow = self._curtains.light(mood)
        half_rows, half_columns = (rows + 1) // 2, columns // 2
        behind = self._heavens.background(half_columns, half_rows, sidereal)
        above = glow + aurora.resized(behind, columns, 2 * half_rows)[2 * half_rows - rows :]
        full_rows = round(rows * self._grow)
        upper = aurora.resized(above, width, full_rows)[full_rows - self._sky_rows :]
        picture = np.zeros((height, width, 3), np.float32)
        picture[: self._sky_rows] = upper
        picture[self._sky_rows :] = upper[-1]
        self._heavens.add_stars(picture[: self._sky_rows], sidereal, moment.timestamp() % 86400 * 1.7)
        if trail is not None:
            self._heavens.add_points(picture[: self._sky_rows], trail)
        level = (np.arange(rows)[::-1] + 0.5) / columns * 2 * self._half
        weight = (level / np.sqrt(1 + level * level)).astype(np.float32)[:, None, None]
        dome = (above * weight).sum(axis=(0, 1)) / (weight.sum() * columns)
        front = (glow * weight).sum(axis=(0, 1)) / (weight.sum() * columns)
        land = self._land
        ground = height - self._sky_rows
        mirrored = self._mirrored(above, dome, ground)
        # The sky over and behind the camera is darker than the half in view.
        _compose(
            picture, self._sky_rows, land.sky, land.ambient, land.direct, land.mirror, land.lamp,
            (0.8 * dome).astype(np.float32), (0.8 * front).astype(np.float32), _LAMP, mirrored,
        )  # fmt: skip
        return _softened(picture)

    def _mirrored(
        self, above: NDArray[np.float32], dome: NDArray[np.float32], ground: int
    ) -> NDArray[np.float32]:
        """The sky upside down as ice returns it, smeared by its roughness, float32 (ground, W, 3)."""
        width = self._size[1]
        rows, columns = self._small
        need = min(rows, int(np.ceil(ground / self._grow)) + 1)
        land = self._land
        reach = min(self._sky_rows, round(need * self._grow))
        clear = land.sky[self._sky_rows - reach : self._sky_rows, :, None]
        dull = land.ambient[self._sky_rows - reach : self._sky_rows, :, None]
        clear = aurora.resized(np.ascontiguousarray(clear), columns, need, box=True)
        dull = aurora.resized(np.ascontiguousarray(dull), columns, need, box=True)
        seen = above[rows - need :] * clear + dull * dome.astype(np.float32)
        smear = aurora.blurred(np.ascontiguousarray(seen[::-1]), max(0.6, columns * 0.006))
        smear = aurora.blurred_down(smear, max(1.0, columns * 0.030))
        return aurora.resized(smear, width, max(ground, round(need * self._grow)))[:ground]


@kernel
def _low_pass(picture: Any, out: Any) -> None:
    height, width, _ = picture.shape
    for row in range(height):
        above, below = max(0, row - 1), min(height - 1, row + 1)
        for column in range(width):
            left, right = max(0, column - 1), min(width - 1, column + 1)
            for c in range(3):
                ends = picture[above, left, c] + picture[above, right, c]
                ends += picture[below, left, c] + picture[below, right, c]
                sides = picture[row, left, c] + picture[row, right, c]
                sides += picture[above, column, c] + picture[below, column, c]
                out[row, column, c] = 0.0625 * ends + 0.125 * sides + 0.25 * picture[row, column, c]


def _softened(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """What the low-pass filter before a sensor does; without it, edges get fringes of false colour."""
    out = np.empty_like(picture)
    _low_pass(picture, out)
    return out
