"""From stored numbers to linear sRGB light: transfer curves and matrix, from an ICC profile if there is one.

Profiles of the matrix and grey kinds (ICC.1:2022, 8.3 and 8.4) are read here, so that colours outside sRGB
keep their values instead of being clipped to 8 bits.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from archive.engine import colour

Floats = npt.NDArray[np.float64]

# Code points of ITU-T H.273, tables 2 and 3: red, green and blue beside a D65 white; ways to store light.
_PRIMARIES = {
    1: colour.SRGB_PRIMARIES,
    9: ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    12: ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
}
_PQ, _HLG = 16, 18
# Light and primaries beyond these are no picture's, and numbers that are not finite come of them.
_BRIGHTEST, _STRONGEST = 1e6, 1e3
_REFERENCE_WHITE, _REFERENCE_HLG = 203.0, 0.75
"""What is white in a picture beside brighter lights: cd/m², and the signal of HLG (ITU-R BT.2408)."""


@dataclass(frozen=True, kw_only=True)
class Transfer:
    """How stored values become light.

    curves : float32, (3, levels): stored value → linear light 0 to 1, for red, green, blue.
    matrix : float64, (3, 3): that light → linear sRGB, D65.
    """

    curves: npt.NDArray[np.float32]
    matrix: Floats


def srgb_transfer(levels: int) -> Transfer:
    """For pictures without a profile: sRGB (IEC 61966-2-1)."""
    curve = colour.srgb_decode(np.linspace(0.0, 1.0, levels))
    return Transfer(curves=np.stack([curve] * 3).astype(np.float32), matrix=np.eye(3))


def dcf_optional_transfer(levels: int) -> Transfer:
    """For the optional wider colour space of DCF 2.0: gamma 563/256 on its own primaries, D65."""
    curve = np.linspace(0.0, 1.0, levels) ** (563 / 256)
    to_xyz = colour.rgb_to_xyz(((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), colour.D65)
    return Transfer(curves=np.stack([curve] * 3).astype(np.float32), matrix=colour.XYZ_TO_SRGB @ to_xyz)


def coded_transfer(primaries: int, transfer: int, levels: int) -> Transfer | None:
    """For pictures that state code points of H.273; None for bright light on primaries not read here.

    Light of the two ways of ITU-R BT.2100 is 1 at the reference white of BT.2408, so that brighter lights lie
    above 1, where a lower exposure finds them: as a display shows them for PQ, as the scene was for HLG. All
    others are read as sRGB is.
    """
    bright = transfer in (_PQ, _HLG)
    known = _PRIMARIES.get(primaries, None if bright else colour.SRGB_PRIMARIES)
    if known is None:
        return None
    stored = np.linspace(0.0, 1.0, levels)
    if transfer == _PQ:
        curve = _pq(stored) / _REFERENCE_WHITE
    elif transfer == _HLG:
        curve = _hlg(stored) / _hlg(np.array(_REFERENCE_HLG))
    else:
        curve = colour.srgb_decode(stored)
    matrix = np.eye(3)
    if known != colour.SRGB_PRIMARIES:
        matrix = colour.XYZ_TO_SRGB @ colour.rgb_to_xyz(known, colour.D65)
    return Transfer(curves=np.stack([curve] * 3).astype(np.float32), matrix=matrix)


def _pq(stored: Floats) -> Floats:
    """Light on a display in cd/m² (BT.2100, table 4)."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    root = stored ** (1 / m2)
    return np.asarray(10000 * (np.maximum(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1))


def _hlg(stored: Floats) -> Floats:
    """Light of a scene, 1 the brightest (BT.2100, table 5)."""
    a = 0.17883277
    b, c = 1 - 4 * a, 0.5 - a * math.log(4 * a)
    return np.where(stored <= 0.5, stored**2 / 3, (np.exp((stored - c) / a) + b) / 12)


def profile_transfer(profile: bytes, levels: int) -> Transfer | None:
    """What an ICC profile says; None when it is of a kind that is not read here, or has no meaning."""
    try:
        tags = _tags(profile)
        if profile[16:20] == b"GRAY":
            curve = _curve(tags[b"kTRC"], levels)
            return Transfer(curves=np.stack([curve] * 3).astype(np.float32), matrix=np.eye(3))
        if profile[16:20] != b"RGB " or profile[20:24] != b"XYZ ":
            return None
        curves = np.stack([_curve(tags[name], levels) for name in (b"rTRC", b"gTRC", b"bTRC")])
        columns = [_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
    except (KeyError, struct.error, ValueError, IndexError, ZeroDivisionError):
        return None
    primaries = np.stack(columns, axis=1)
    if not colour.is_sound(primaries):
        return None
    adapt = colour.bradford(colour.ICC_D50_XYZ, colour.xyz_of(colour.D65))
    matrix = colour.XYZ_TO_SRGB @ adapt @ primaries
    # Rounding of the profile's s15Fixed16 numbers must not tint greys.
    white = matrix.sum(axis=1, keepdims=True)
    if white.min() <= 0:
        return None
    matrix = matrix / white
    if np.abs(matrix).max() > _STRONGEST:
        return None
    return Transfer(curves=curves.astype(np.float32), matrix=matrix)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", profile, 128)
    found = {}
    for place in range(132, 132 + 12 * min(count, 200), 12):
        name, offset, size = struct.unpack_from(">4sII", profile, place)
        if offset + size > len(profile):
            raise ValueError("a tag lies beyond the profile's end")
        found[name] = profile[offset : offset + size]
    return found


def _xyz(tag: bytes) -> Floats:
    return np.array(struct.unpack_from(">3i", tag, 8), np.float64) / 65536


def _curve(tag: bytes, levels: int) -> Floats:
    x = np.linspace(0.0, 1.0, levels)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return x
        values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
        if count == 1:
            return np.asarray(x ** (values[0] / 256))
        return np.interp(x, np.linspace(0.0, 1.0, count), values / 65535)
    if tag[:4] != b"para":
        raise ValueError("unknown kind of curve")
    (function,) = struct.unpack_from(">H", tag, 8)
    numbers = [value / 65536 for value in struct.unpack_from(f">{(1, 3, 4, 5, 7)[function]}i", tag, 12)]
    gamma, a, b, c, d, e, f = _parametric(function, numbers)
    with np.errstate(all="ignore"):
        curve = np.where(x >= d, np.maximum(a * x + b, 0) ** gamma + e, c * x + f)
    # BT.2100's PQ reaches some fifty times the white that is meant; not a number is not less than anything.
    if not np.abs(curve).max() < _BRIGHTEST:
        raise ValueError("a curve without a meaning")
    return curve


def _parametric(function: int, p: list[float]) -> tuple[float, float, float, float, float, float, float]:
    """The five shapes of ICC.1 table 68 as one: (a x + b)^gamma + e from d on, c x + f below."""
    if function == 0:
        return p[0], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if function == 1:
        return p[0], p[1], p[2], 0.0, -p[2] / p[1], 0.0, 0.0
    if function == 2:
        return p[0], p[1], p[2], 0.0, -p[2] / p[1], p[3], p[3]
    if function == 3:
        return p[0], p[1], p[2], p[3], p[4], 0.0, 0.0
    return p[0], p[1], p[2], p[3], p[4], p[5], p[6]
