"""How much light there is: from the brightness of the sky to electrons in a pixel.

All of it meets in one number: light 1.0 just fills a green pixel at the usual exposure of 8 s, f/1.8,
ISO 3200.
"""

from __future__ import annotations

from typing import Final

import numpy as np

USUAL_S, USUAL_F, USUAL_ISO = 8.0, 1.8, 3200
"""The exposure for which light 1.0 just clips."""
RAYLEIGH: Final = 1e10 / (4 * np.pi)
"""Photons per second, m² and steradian in one rayleigh (Hunten, Roach and Chamberlain 1956)."""
MAGNITUDE_ZERO: Final = 8.8e9
"""Photons per second and m² from a star of V = 0: 3.63e-11 W m⁻² nm⁻¹, 88 nm wide (Bessell 1979)."""
SQUARE_ARCSECONDS: Final = (180 * 3600 / np.pi) ** 2
"""In one steradian."""
CAUGHT: Final = 0.40
"""Share of green photons that become electrons: glass 0.85, filter 0.85, silicon 0.55 (common values)."""
WELL_UM2: Final = 2000.0
"""Electrons that one µm² of photosite holds at ISO 100 (common for sensors of 4 to 8 µm)."""
SENSOR_UM: Final = 36_000.0
LARGEST_UM: Final = 12.0
"""Side of the largest photosite. A frame of few pixels has wider gaps between them, not ever larger ones."""


def side_um(width: int) -> float:
    """Side of the photosites, µm, of a sensor ``width`` pixels long."""
    return min(LARGEST_UM, SENSOR_UM / width)


def full_well(width: int, iso: int = USUAL_ISO) -> float:
    """Electrons that make a pixel's number reach the white level."""
    return WELL_UM2 * side_um(width) ** 2 * 100 / iso


def etendue(side: float, f_number: float) -> float:
    """m² sr gathered by a photosite of ``side`` µm behind a lens, on its axis (paraxial: area × π / 4N²)."""
    return (side * 1e-6) ** 2 * np.pi / (4 * f_number**2)


def electrons(radiance: float, side: float, f_number: float, seconds: float) -> float:
    """Electrons in a green photosite for photons per second, m² and steradian."""
    return radiance * etendue(side, f_number) * seconds * CAUGHT


def light(radiance: float) -> float:
    """Light, 1.0 = clipping at the usual exposure, for photons per second, m² and steradian."""
    return electrons(radiance, 1.0, USUAL_F, USUAL_S) / (WELL_UM2 * 100 / USUAL_ISO)


def sky_light(magnitude: float) -> float:
    """Light of a sky of so many V magnitudes per square arc second."""
    return light(MAGNITUDE_ZERO * 10 ** (-0.4 * magnitude) * SQUARE_ARCSECONDS)


def kilorayleigh(amount: float) -> float:
    """Light of so many kilorayleigh of the green line; bright aurora, class III, has about 100."""
    return light(amount * 1e3 * RAYLEIGH)
