"""Lights and what makes them neutral, by the published formulas."""

from __future__ import annotations

import numpy as np
from support.plain.planes import Floats

from archive.engine.decode import CameraColour
from archive.engine.operators.colour import Balance

# Bradford's sharpened responses, as in ICC.1:2022 annex E.
SHARPENED = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def tristimulus(x: float, y: float) -> Floats:
    return np.array([x / y, 1, (1 - x - y) / y])


WHITE = tristimulus(0.3127, 0.3290)


def srgb_to_xyz() -> Floats:
    """Columns are the primaries of IEC 61966-2-1, as strong as makes white of them."""
    primaries = np.stack([tristimulus(*each) for each in ((0.64, 0.33), (0.3, 0.6), (0.15, 0.06))], axis=1)
    return np.asarray(primaries @ np.diag(np.linalg.inv(primaries) @ WHITE))


def light(balance: Balance) -> Floats:
    """Tristimulus values of the light that is to look neutral, Y = 1."""
    t = balance.kelvin
    if balance.source == "daylight":
        # CIE 015, and below 4000 K its first branch continued.
        cubic = (
            (-4.6070e9, 2.9678e6, 0.09911e3, 0.244063)
            if t <= 7000
            else (-2.0064e9, 1.9018e6, 0.24748e3, 0.237040)
        )
        x = float(np.polyval(cubic, 1 / t))
        return tristimulus(x, -3 * x**2 + 2.87 * x - 0.275)
    # A step off the locus at right angles to it, to the left as temperature rises.
    towards = planckian(t * 1.001) - planckian(t * 0.999)
    towards /= np.abs(towards)
    place = planckian(t) - 1j * towards * balance.duv
    u, v = place.real, place.imag
    return tristimulus(3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4))


def planckian(t: float) -> complex:
    """CIE 1960 u + iv of a black body, by Krystek (1985)."""
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t**2) / (
        1 + 8.42420235e-4 * t + 7.08145163e-7 * t**2
    )
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t**2) / (
        1 - 2.89741816e-5 * t + 1.61456053e-7 * t**2
    )
    return complex(u, v)


def multipliers(camera: CameraColour | None, balance: Balance | None) -> Floats:
    """What camera colours are multiplied by, smallest 1; developed pictures are not."""
    if camera is None:
        return np.ones(3)
    if balance is None or balance.source == "as_shot":
        return camera.as_shot
    developed = np.linalg.inv(srgb_to_xyz()) @ light(balance)
    answer = np.linalg.inv(camera.to_srgb) @ developed / camera.daylight
    gains = 1 / np.maximum(answer, 1e-3)
    return np.asarray(gains / gains.min())


def to_srgb(camera: CameraColour | None, balance: Balance | None) -> Floats:
    """From balanced colour to linear sRGB; of developed pictures the light is adapted to their white."""
    if camera is not None:
        return camera.to_srgb
    if balance is None or balance.source == "as_shot":
        return np.eye(3)
    gains = (SHARPENED @ WHITE) / (SHARPENED @ light(balance))
    adapted = np.linalg.inv(SHARPENED) @ np.diag(gains) @ SHARPENED
    return np.asarray(np.linalg.inv(srgb_to_xyz()) @ adapted @ srgb_to_xyz())
