"""How far a site is from the magnetic pole: the latitude to the dipole's axis."""

from __future__ import annotations

import math
from datetime import date

from archive.model.place import Site

_DIPOLE = {
    2020: (-29403.41, -1451.37, 4653.35),
    2025: (-29350.0, -1410.3, 4545.5),
}
"""g10, g11, h11 in nT of the International Geomagnetic Reference Field, 14th generation, by epoch."""


def pole(day: date) -> tuple[float, float]:
    """Geocentric latitude and longitude, in degrees, of the dipole's northern pole on a day."""
    (early, first), (late, second) = sorted(_DIPOLE.items())
    share = (day.year + (day.month - 0.5) / 12 - early) / (late - early)
    g10, g11, h11 = (a + (b - a) * share for a, b in zip(first, second, strict=True))
    strength = math.sqrt(g10**2 + g11**2 + h11**2)
    return 90 - math.degrees(math.acos(-g10 / strength)), math.degrees(math.atan2(-h11, -g11))


def dipole_latitude(site: Site, day: date) -> float:
    """Latitude of a site to the dipole's equator, in degrees; north is positive.

    Good to a degree in the north; in the south the field is further from a dipole (3.5° at 46° S).
    """
    pole_latitude, pole_longitude = (math.radians(value) for value in pole(day))
    latitude, longitude = math.radians(site.latitude), math.radians(site.longitude)
    sine = math.sin(latitude) * math.sin(pole_latitude) + math.cos(latitude) * math.cos(
        pole_latitude
    ) * math.cos(longitude - pole_longitude)
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))
