"""Colour by the published standards: sRGB, chromatic adaptation, daylight and Planckian light."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Chromaticity = tuple[float, float]

D65: Chromaticity = (0.3127, 0.3290)
SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
ICC_D50_XYZ: Floats = np.array([0.9642, 1.0, 0.8249])
_BRADFORD: Floats = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


# Matrices between the colours of cameras, profiles and displays stay far below.
_WORST_CONDITION = 1e4


def is_sound(matrix: npt.ArrayLike) -> bool:
    """Whether a matrix, (3, 3), is finite and can be inverted with a meaning."""
    numbers = np.asarray(matrix, np.float64)
    return bool(np.isfinite(numbers).all() and np.linalg.cond(numbers) < _WORST_CONDITION)


def xyz_of(white: Chromaticity) -> Floats:
    """Tristimulus values of a chromaticity, Y = 1."""
    x, y = white
    return np.array([x / y, 1.0, (1 - x - y) / y])


def rgb_to_xyz(primaries: tuple[Chromaticity, Chromaticity, Chromaticity], white: Chromaticity) -> Floats:
    """The matrix from linear RGB of these primaries to XYZ, with white at Y = 1."""
    columns = np.stack([xyz_of(each) for each in primaries], axis=1)
    return np.asarray(columns * np.linalg.solve(columns, xyz_of(white)))


SRGB_TO_XYZ: Floats = rgb_to_xyz(SRGB_PRIMARIES, D65)
XYZ_TO_SRGB: Floats = np.asarray(np.linalg.inv(SRGB_TO_XYZ), np.float64)


def srgb_encode(light: npt.ArrayLike) -> Floats:
    """sRGB values 0 to 1 of linear light 0 to 1 (IEC 61966-2-1)."""
    x = np.asarray(light, np.float64)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 0) ** (1 / 2.4) - 0.055)


def srgb_decode(values: npt.ArrayLike) -> Floats:
    """Linear light 0 to 1 of sRGB values 0 to 1 (IEC 61966-2-1)."""
    x = np.asarray(values, np.float64)
    return np.where(x <= 0.04045, x / 12.92, ((np.maximum(x, 0) + 0.055) / 1.055) ** 2.4)


def bradford(source: npt.ArrayLike, target: npt.ArrayLike) -> Floats:
    """The matrix that adapts XYZ from one white (XYZ) to another by the Bradford method."""
    scale = (_BRADFORD @ np.asarray(target, np.float64)) / (_BRADFORD @ np.asarray(source, np.float64))
    return np.asarray(np.linalg.inv(_BRADFORD) @ (scale[:, None] * _BRADFORD))


def daylight_xy(kelvin: float) -> Chromaticity:
    """Chromaticity of CIE daylight (CIE 015), defined for 4000 to 25000 K.

    Below 4000 K, where no daylight is defined, the first branch is continued.
    """
    t = kelvin
    if t <= 7000:
        x = -4.6070e9 / t**3 + 2.9678e6 / t**2 + 0.09911e3 / t + 0.244063
    else:
        x = -2.0064e9 / t**3 + 1.9018e6 / t**2 + 0.24748e3 / t + 0.237040
    return x, -3 * x * x + 2.870 * x - 0.275


def planckian_uv(kelvin: float) -> tuple[float, float]:
    """CIE 1960 u, v on the Planckian locus, by Krystek's rational approximation (1985)."""
    t = kelvin
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) / (
        1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t
    )
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) / (
        1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t
    )
    return u, v


def illuminant_xy(kelvin: float, duv: float) -> Chromaticity:
    """Chromaticity of a light of this correlated colour temperature and distance from the Planckian locus.

    ``duv`` is measured in CIE 1960 u, v at right angles to the locus, positive above it (towards green).
    """
    u, v = planckian_uv(kelvin)
    before, after = planckian_uv(kelvin * 0.999), planckian_uv(kelvin * 1.001)
    along = np.array([after[0] - before[0], after[1] - before[1]])
    length = float(np.hypot(*along))
    u += duv * along[1] / length
    v -= duv * along[0] / length
    return 3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)


def temperature_of(white: Chromaticity) -> tuple[float, float]:
    """Correlated colour temperature in kelvin and Duv of a light: the inverse of ``illuminant_xy``.

    The nearest point of the Planckian locus is looked for from 1000 to 40000 K; what lies farther than 0.05
    from it in CIE 1960 u, v has no meaningful temperature (CIE 015), which is for the caller to judge.
    """
    x, y = white
    u, v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)
    # Even steps of reciprocal temperature are even steps along the locus, nearly.
    low, high, mired = 25.0, 1000.0, 25.0
    for _ in range(6):
        mireds = np.linspace(low, high, 101)
        places = np.array([planckian_uv(1e6 / each) for each in mireds])
        nearest = int(np.argmin(np.hypot(places[:, 0] - u, places[:, 1] - v)))
        mired = float(mireds[nearest])
        low, high = float(mireds[max(nearest - 1, 0)]), float(mireds[min(nearest + 1, 100)])
    kelvin = 1e6 / mired
    before, after = planckian_uv(kelvin * 0.999), planckian_uv(kelvin * 1.001)
    along = np.array([after[0] - before[0], after[1] - before[1]])
    along /= np.hypot(*along)
    locus = planckian_uv(kelvin)
    return kelvin, float((u - locus[0]) * along[1] - (v - locus[1]) * along[0])
