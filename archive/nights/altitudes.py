"""Sun and moon over a site for many frames: computed at knots, interpolated between them."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from archive.model.place import Site
from archive.nights.sky import moon_altitude, sun_altitude

KNOT_S = 600
"""Seconds between knots: off by less than 0.001° where a body stands below 80°, 0.03° beside the zenith."""


class Altitudes:
    """How high sun and moon stand over one site, in degrees, topocentric, without refraction.

    A night of hundreds of frames costs a few dozen positions of sun and moon instead of hundreds.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._knots: dict[int, tuple[float, float]] = {}

    def at(self, moment: datetime) -> tuple[float, float]:
        """Altitude of the sun and of the moon at a moment."""
        knot, rest = divmod(moment.timestamp(), KNOT_S)
        x = rest / KNOT_S
        # Lagrange's polynomial through the knots at -1, 0, 1 and 2 (Abramowitz and Stegun, 25.2.13).
        weights = (
            -x * (x - 1) * (x - 2) / 6,
            (x * x - 1) * (x - 2) / 2,
            -x * (x + 1) * (x - 2) / 2,
            x * (x * x - 1) / 6,
        )
        # Written out: a rebuild asks this once for each of a million frames.
        at = int(knot)
        a, b, c, d = weights
        (sun_a, moon_a), (sun_b, moon_b) = self._knot(at - 1), self._knot(at)
        (sun_c, moon_c), (sun_d, moon_d) = self._knot(at + 1), self._knot(at + 2)
        return (
            _altitude(a * sun_a + b * sun_b + c * sun_c + d * sun_d),
            _altitude(a * moon_a + b * moon_b + c * moon_c + d * moon_d),
        )

    def _knot(self, number: int) -> tuple[float, float]:
        found = self._knots.get(number)
        if found is None:
            moment = datetime.fromtimestamp(number * KNOT_S, UTC)
            sun, moon = sun_altitude(self._site, moment), moon_altitude(self._site, moment)
            # The altitude itself has a kink where a body passes the zenith; its sine has none.
            found = math.sin(math.radians(sun)), math.sin(math.radians(moon))
            self._knots[number] = found
        return found


def _altitude(sine: float) -> float:
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))
