"""The sky behind the aurora: stars, Milky Way, airglow and a far town, all turning with the Earth."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.demo import radiometry
from archive.demo.noise import fractal
from archive.engine import colour
from archive.engine.kernels.compiled import kernel

_FAINTEST = 8.3
_EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)
_SKY_MAGNITUDE = 21.6
"""Brightness of the moonless sky in magnitudes per square arc second."""
_SKY_LIGHT = radiometry.sky_light(_SKY_MAGNITUDE)
_EXTINCTION = np.array([0.10, 0.17, 0.26])
"""Magnitudes lost per air mass in red, green and blue (common for clear air at sea level)."""
# Right ascension (hours), declination (degrees), visual magnitude, B-V of bright northern stars, J2000.
_BRIGHT = np.array(
    [
        (18.616, 38.78, 0.03, 0.00), (20.690, 45.28, 1.25, 0.09), (5.278, 46.00, 0.08, 0.80),
        (14.261, 19.18, -0.05, 1.23), (7.577, 31.89, 1.58, 0.03), (7.755, 28.03, 1.14, 1.00),
        (0.675, 56.54, 2.24, 1.17), (0.153, 59.15, 2.28, 0.34), (0.945, 60.72, 2.15, -0.15),
        (1.430, 60.24, 2.66, 0.13), (1.907, 63.67, 3.35, -0.15), (3.405, 49.86, 1.79, 0.48),
        (3.136, 40.96, 2.12, -0.05), (2.065, 42.33, 2.10, 1.37), (1.162, 35.62, 2.07, 1.57),
        (0.140, 29.09, 2.06, -0.11), (2.120, 23.46, 2.00, 1.15), (2.530, 89.26, 1.98, 0.60),
        (14.845, 74.16, 2.07, 1.47), (15.345, 71.83, 3.00, 0.06), (11.062, 61.75, 1.79, 1.07),
        (11.031, 56.38, 2.37, 0.03), (11.897, 53.69, 2.44, 0.04), (12.257, 57.03, 3.31, 0.08),
        (12.900, 55.96, 1.77, -0.02), (13.399, 54.93, 2.23, 0.06), (13.792, 49.31, 1.86, -0.19),
        (17.943, 51.49, 2.23, 1.52), (17.507, 52.30, 2.79, 0.95), (19.209, 67.66, 3.07, 1.00),
        (16.400, 61.51, 2.74, 0.91), (17.146, 65.71, 3.17, -0.12), (21.310, 62.59, 2.44, 0.22),
        (22.828, 66.20, 3.52, 1.05), (23.656, 77.63, 3.21, 1.03), (20.754, 61.84, 3.43, 0.92),
        (20.370, 40.26, 2.23, 0.68), (20.770, 33.97, 2.46, 1.03), (19.749, 45.13, 2.87, -0.03),
        (19.512, 27.96, 3.05, 1.09), (18.835, 33.36, 3.45, 0.00), (18.982, 32.69, 3.24, -0.05),
        (23.063, 28.08, 2.42, 1.66), (22.717, 30.22, 2.94, 0.86), (22.096, 25.35, 3.76, 0.44),
        (15.578, 26.71, 2.23, -0.02), (16.715, 31.60, 2.81, 0.65), (17.251, 36.81, 3.16, 1.44),
        (3.964, 40.01, 2.89, -0.18), (3.902, 31.88, 2.85, 0.12), (3.791, 24.11, 2.87, -0.09),
        (5.992, 44.95, 1.90, 0.03), (5.995, 37.21, 2.62, -0.08), (4.950, 33.17, 2.69, 1.53),
        (21.736, 9.88, 2.39, 1.53), (19.846, 8.87, 0.77, 0.22),
    ]
)  # fmt: skip


def sidereal_angle(moment: datetime, longitude: float) -> float:
    """Local mean sidereal time in radians (Aoki et al. 1982, linear part)."""
    days = (moment - _EPOCH).total_seconds() / 86400
    hours = 18.697374558 + 24.06570982441908 * days + longitude / 15
    return float(np.radians(hours % 24 * 15))


def horizontal(
    right_ascension: NDArray[Any], declination: NDArray[Any], sidereal: float, latitude: float
) -> NDArray[np.float64]:
    """Unit vectors (east, north, up), shape (3, …), of equatorial directions in radians."""
    angle = sidereal - right_ascension
    sine, cosine = np.sin(latitude), np.cos(latitude)
    level = np.cos(declination) * np.cos(angle)
    return np.stack(
        [
            -np.cos(declination) * np.sin(angle),
            np.sin(declination) * cosine - level * sine,
            np.sin(declination) * sine + level * cosine,
        ]
    )


def star_kelvin(index: NDArray[Any]) -> NDArray[np.float64]:
    """Effective temperature of stars by B-V (Ballesteros 2012)."""
    warm = 0.92 * np.clip(index, -0.3, 1.9)
    return np.asarray(4600 * (1 / (warm + 1.7) + 1 / (warm + 0.62)))


def star_colours(index: NDArray[Any]) -> NDArray[np.float64]:
    """Linear sRGB of stars by B-V, green 1: Planckian light of their temperature."""
    kelvin = np.geomspace(2400, 15000, 64)
    table = []
    for each in kelvin:
        rgb = colour.XYZ_TO_SRGB @ colour.xyz_of(colour.illuminant_xy(float(each), 0.0))
        table.append(np.maximum(rgb, 0.02) / rgb[1])
    place = np.interp(np.log(star_kelvin(index)), np.log(kelvin), np.arange(64.0))
    return np.stack([np.interp(place, np.arange(64.0), channel) for channel in np.array(table).T], -1)


def galactic(ascension: NDArray[Any], declination: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Sine of the galactic latitude, and galactic longitude in radians (IAU 1958, for J2000)."""
    pole, tip = np.radians(192.859), np.radians(27.128)
    polar, level = np.sin(declination), np.cos(declination)
    turn = ascension - pole
    sine = polar * np.sin(tip) + level * np.cos(tip) * np.cos(turn)
    longitude = np.radians(122.932) - np.arctan2(
        level * np.sin(turn), polar * np.cos(tip) - level * np.sin(tip) * np.cos(turn)
    )
    return sine, longitude


def star_count(magnitude: float) -> float:
    """How many stars of the whole sky are brighter than a V magnitude.

    A line through 5 thousand at 6.0, 42 thousand at 8.0 and 340 thousand at 10.0 (Allen's Astrophysical
    Quantities, from memory), good to a quarter between 4 and 10.
    """
    return float(10 ** (0.98 + 0.455 * magnitude))


def _scattered(count: int, random: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Right ascensions and declinations of stars, crowded along the galaxy's plane as faint ones are."""
    ascension = random.uniform(0, 2 * np.pi, 3 * count)
    declination = np.arcsin(random.uniform(-1, 1, 3 * count))
    latitude = np.degrees(np.arcsin(np.clip(galactic(ascension, declination)[0], -1, 1)))
    # About three and a half times as many on the equator as at the poles, for ninth magnitude.
    kept = random.uniform(0, 1, 3 * count) * 3.5 < 1 + 2.5 * np.exp(-np.abs(latitude) / 13)
    return ascension[kept][:count], declination[kept][:count]


@kernel
def _splat(columns: Any, rows: Any, light: Any, core: float, out: Any) -> None:
    height, width, _ = out.shape
    sharp, broad = 0.92 / (2 * np.pi * core * core), 0.08 / (np.pi * 6.0 * core * core)
    for star in range(columns.size):
        # A lens spreads a little light far: bright stars look larger because of it, as far as it can be seen.
        seen = np.sqrt(max(1.0, broad * light[star, 1] / 2e-4)) - 1
        reach = int(core * min(12.0, max(2.6, np.sqrt(6.0 * seen)))) + 2
        x, y = columns[star], rows[star]
        left, right = max(0, int(x) - reach), min(width - 1, int(x) + reach)
        upper, under = max(0, int(y) - reach), min(height - 1, int(y) + reach)
        for row in range(upper, under + 1):
            for column in range(left, right + 1):
                squared = ((column - x) ** 2 + (row - y) ** 2) / (core * core)
                weight = broad / ((1 + squared / 6.0) * (1 + squared / 6.0))
                if squared < 16.0:
                    weight += sharp * np.exp(-0.5 * squared)
                for channel in range(3):
                    out[row, column, channel] += weight * light[star, channel]


class Heavens:
    """Stars and background for one camera.

    ``half`` is the tangent of half the horizontal field of view, ``azimuth`` that of the optical axis in
    degrees, ``horizon`` the row of the horizon in a picture ``width`` pixels wide.
    """

    def __init__(
        self, width: int, horizon: float, half: float, azimuth: float, latitude: float, seed: int
    ) -> None:
        self._width, self._horizon, self._half = width, horizon, half
        self._azimuth, self._latitude = np.radians(azimuth), np.radians(latitude)
        random = np.random.Generator(np.random.PCG64(seed))
        pixel = 2 * half / width * 206265
        pixel_magnitude = _SKY_MAGNITUDE - 2.5 * np.log10(pixel * pixel)
        # Fainter than the sky in its pixel, a star is part of the background.
        faintest = min(_FAINTEST + 2.0, pixel_magnitude + 0.25)
        right_ascension, declination = _scattered(int(star_count(faintest)), random)
        count = right_ascension.size
        magnitude = faintest + np.log10(random.uniform(1e-9, 1.0, count)) / 0.455
        # Two crowds: hot and sun-like dwarfs, and orange giants.
        giants = random.uniform(0, 1, count) < 0.38
        index = np.where(giants, random.normal(1.12, 0.24, count), random.normal(0.28, 0.26, count))
        index = np.clip(index, -0.25, 1.75)
        keep = (magnitude > 3.3) & (declination > np.radians(-22))
        self._place = np.stack(
            [
                np.concatenate([right_ascension[keep], np.radians(_BRIGHT[:, 0] * 15)]),
                np.concatenate([declination[keep], np.radians(_BRIGHT[:, 1])]),
            ]
        )
        magnitudes = np.concatenate([magnitude[keep], _BRIGHT[:, 2]])
        colours = star_colours(np.concatenate([index[keep], _BRIGHT[:, 3]]))
        strength = _SKY_LIGHT * 10 ** (0.4 * (pixel_magnitude - magnitudes))
        self._light = (strength[:, None] * colours).astype(np.float32)
        self._twinkle = random.uniform(0, 2 * np.pi, magnitudes.size)
        self._milky = _milky_way(seed)
        self._near: dict[int, NDArray[np.intp]] = {}
        self._still: dict[tuple[int, int], tuple[NDArray[Any], ...]] = {}

    def _candidates(self, sidereal: float) -> NDArray[np.intp]:
        """Stars that may be in view within half an hour of a sidereal time, in catalogue order."""
        hour = round(sidereal * 24 / (2 * np.pi))
        if hour not in self._near:
            ascension, declination = self._place
            east, north, up = horizontal(ascension, declination, hour * 2 * np.pi / 24, float(self._latitude))
            ahead = north * np.cos(self._azimuth) + east * np.sin(self._azimuth)
            right = east * np.cos(self._azimuth) - north * np.sin(self._azimuth)
            # The sky turns by 0.13 in half an hour; a wider margin costs little.
            self._near[hour] = np.flatnonzero((abs(right) < 1.05 * self._half * ahead + 0.4) & (up > -0.2))
        return self._near[hour]

    def add_stars(self, picture: NDArray[np.float32], sidereal: float, spin: float) -> None:
        """Adds the stars to linear light, float32 (H, W, 3); ``spin`` drives the twinkling."""
        near = self._candidates(sidereal)
        east, north, up = horizontal(
            self._place[0, near], self._place[1, near], sidereal, float(self._latitude)
        )
        ahead = north * np.cos(self._azimuth) + east * np.sin(self._azimuth)
        right = east * np.cos(self._azimuth) - north * np.sin(self._azimuth)
        seen = np.flatnonzero((ahead > 0.1) & (up > 0.02) & (abs(right) < 1.05 * self._half * ahead))
        scale = self._width / (2 * self._half)
        column = (right[seen] / ahead[seen] + self._half) * scale - 0.5
        row = self._horizon - up[seen] / ahead[seen] * scale - 0.5
        inside = row > -12
        seen, column, row = seen[inside], column[inside], row[inside]
        airmass = 1 / (up[seen] + 0.025 * np.exp(-11 * up[seen]))
        dim = 10 ** (-0.4 * airmass[:, None] * _EXTINCTION)
        star = near[seen]
        shimmer = 1 + 0.05 * np.minimum(airmass, 6) ** 0.5 * np.sin(self._twinkle[star] * 7 + spin)
        light = (self._light[star] * dim * shimmer[:, None]).astype(np.float32)
        # A lens covers about the same share of the frame with a star whatever the number of pixels.
        core = max(0.62, 0.74 * (self._width / 960) ** 0.6)
        _splat(column, row, light, core, picture)

    def add_points(self, picture: NDArray[np.float32], points: NDArray[np.float64]) -> None:
        """Adds moving lights: rows of (tangent right, tangent up, red, green, blue)."""
        scale = self._width / (2 * self._half)
        columns = (points[:, 0] + self._half) * scale - 0.5
        rows = self._horizon - points[:, 1] * scale - 0.5
        light = (points[:, 2:] * (self._width / 960)).astype(np.float32)
        _splat(columns, rows, light, max(0.62, 0.74 * (self._width / 960) ** 0.6), picture)

    def background(self, width: int, height: int, sidereal: float) -> NDArray[np.float32]:
        """Milky Way, airglow and town as linear light, float32 (H, W, 3); the last row is at the horizon."""
        if (width, height) not in self._still:
            self._still[width, height] = self._standing(width, height)
        angle, declination, dim, light = self._still[width, height]
        band = self._galactic(sidereal - angle, declination).astype(np.float32)
        return np.asarray(light + band[..., None] * dim, np.float32)

    def _standing(self, width: int, height: int) -> tuple[NDArray[Any], ...]:
        """What does not turn: hour angle and declination, the Milky Way's colour in the air, other light."""
        side = ((np.arange(width) + 0.5) / width * 2 - 1) * self._half
        up = (height - 0.5 - np.arange(height)) * 2 * self._half / width
        x, y = np.meshgrid(side, up)
        norm = 1 / np.sqrt(1 + x * x + y * y)
        north = (np.cos(self._azimuth) - x * np.sin(self._azimuth)) * norm
        east = (np.sin(self._azimuth) + x * np.cos(self._azimuth)) * norm
        above = y * norm
        sine, cosine = np.sin(self._latitude), np.cos(self._latitude)
        declination = np.arcsin(np.clip(above * sine + north * cosine, -1, 1))
        angle = np.arctan2(-east, above * cosine - north * sine)
        airmass = 1 / (above + 0.025 * np.exp(-11 * above))
        dim = 10 ** (-0.4 * np.minimum(airmass, 20)[..., None] * _EXTINCTION)
        degrees = np.degrees(np.arcsin(np.clip(above, 0, 1)))
        azimuth = np.degrees(np.arctan(x) + self._azimuth)
        layer = np.exp(-degrees / 13)
        ripple = 1 + 0.14 * fractal(azimuth / 30, degrees / 6 + 4, 3.3, octaves=2)
        light = _SKY_LIGHT * np.array([0.70, 1.0, 1.42])
        light = light + (layer * ripple)[..., None] * np.array([0.0085, 0.0128, 0.0112])
        town = np.exp(-(((azimuth - 31) / 15) ** 2)) * np.exp(-degrees / 3.6)
        town += 0.14 * np.exp(-(((azimuth - 31) / 30) ** 2)) * np.exp(-degrees / 9)
        light = light + town[..., None] * np.array([0.062, 0.036, 0.019])
        milky = np.array([0.0170, 0.0165, 0.0185])
        return angle, declination, (milky * dim).astype(np.float32), light.astype(np.float32)

    def _galactic(self, ascension: NDArray[Any], declination: NDArray[Any]) -> NDArray[np.float64]:
        sine, longitude = galactic(ascension, declination)
        rows, columns = self._milky.shape
        i = np.clip((np.degrees(np.arcsin(np.clip(sine, -1, 1))) + 40) * 2, 0, rows - 1.001)
        j = (np.degrees(longitude) % 360) / 360 * (columns - 1)
        low, left = i.astype(np.intp), np.minimum(j.astype(np.intp), columns - 2)
        a, b = i - low, j - left
        table = self._milky
        upper = table[low, left] * (1 - b) + table[low, left + 1] * b
        return np.asarray(
            upper * (1 - a) + (table[low + 1, left] * (1 - b) + table[low + 1, left + 1] * b) * a
        )


@cache
def _milky_way(seed: int) -> NDArray[np.float64]:
    """Brightness by galactic latitude (-40 to 40°) and longitude (0 to 360°), in steps of half a degree."""
    latitude, longitude = np.arange(-40, 40.5, 0.5)[:, None], np.arange(0, 360.5, 0.5)[None]
    turn = np.radians(longitude)
    # A circle through the noise closes the seam at 0 = 360°.
    x, y = 9 * np.cos(turn) + 0 * latitude, 9 * np.sin(turn) + latitude / 7.0
    z = 5.0 + seed % 97
    bent = latitude + 2.5 * fractal(x * 0.6, y * 0.6, z + 9, octaves=2)
    clouds = 0.75 + 0.75 * fractal(x, y, z, octaves=5, gain=0.58)
    dust = np.clip(
        1.3 * fractal(x * 0.8, y * 1.3, z + 40, octaves=5, gain=0.6) + 0.42 - np.abs(bent) / 7, 0, 0.85
    )
    strength = 0.50 + 0.34 * np.cos(turn - np.radians(35))
    glow = np.exp(-((np.abs(bent) / 7.5) ** 1.35)) + 0.20 * np.exp(-np.abs(bent) / 15)
    return np.asarray(np.maximum(0, glow * clouds * strength * (1 - dust)), np.float64)
