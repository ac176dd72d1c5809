"""Sun and moon over a site for many frames: computed at knots, interpolated between them."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from archive.model.place import Site
from archive.nights.sky import moon_altitude, sun_altitude

KNOT_S = 600
"""Seconds between knots: off by less than 0.001° where a body stands below 80°, 0.03° beside the zenith."""

Course = tuple[float, float, float, float]
"""A cubic by its coefficients, from the constant on, over the time from one knot to the next."""


class Altitudes:
    """How high sun and moon stand over one site, in degrees, topocentric, without refraction.

    A night of hundreds of frames costs a few dozen positions of sun and moon instead of hundreds.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._knots: dict[int, tuple[float, float]] = {}
        self._courses: dict[int, tuple[Course, Course]] = {}

    def at(self, moment: datetime) -> tuple[float, float]:
        """Altitude of the sun and of the moon at a moment."""
        # Written out: a rebuild asks this once for each of a million frames.
        knot, rest = divmod(moment.timestamp(), KNOT_S)
        x = rest / KNOT_S
        courses = self._courses.get(int(knot))
        if courses is None:
            courses = self._courses[int(knot)] = self._between(int(knot))
        (a, b, c, d), (e, f, g, h) = courses
        return _altitude(((d * x + c) * x + b) * x + a), _altitude(((h * x + g) * x + f) * x + e)

    def _between(self, knot: int) -> tuple[Course, Course]:
        """How the sines of both altitudes run from a knot to the next."""
        around = [self._knot(number) for number in range(knot - 1, knot + 3)]
        sun, moon = zip(*around, strict=True)
        return _course(*sun), _course(*moon)

    def _knot(self, number: int) -> tuple[float, float]:
        found = self._knots.get(number)
        if found is None:
            moment = datetime.fromtimestamp(number * KNOT_S, UTC)
            sun, moon = sun_altitude(self._site, moment), moon_altitude(self._site, moment)
            # The altitude itself has a kink where a body passes the zenith; its sine has none.
            found = math.sin(math.radians(sun)), math.sin(math.radians(moon))
            self._knots[number] = found
        return found


def _course(before: float, here: float, after: float, beyond: float) -> Course:
    """Lagrange's polynomial through knots at -1, 0, 1 and 2 (Abramowitz and Stegun, 25.2.13), by powers."""
    return (
        here,
        -before / 3 - here / 2 + after - beyond / 6,
        before / 2 - here + after / 2,
        -before / 6 + here / 2 - after / 2 + beyond / 6,
    )


def _altitude(sine: float) -> float:
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))
