"""The latitude to the magnetic dipole."""

from __future__ import annotations

from datetime import date

import pytest

from archive.model.place import Site
from archive.nights.geomagnetic import dipole_latitude, pole


def test_the_poles_of_the_reference_field() -> None:
    """IGRF-14 (from its coefficients): 2020 80.587° N 72.677° W, 2025 80.789° N 72.763° W."""
    assert pole(date(2020, 1, 1)) == pytest.approx((80.587, -72.677), abs=0.005)
    assert pole(date(2025, 1, 1)) == pytest.approx((80.789, -72.763), abs=0.005)


# Computed from the same coefficients by another route.
@pytest.mark.parametrize(
    ("latitude", "longitude", "dipole"),
    [
        (69.65, 18.96, 67.49),
        (78.22, 15.65, 75.29),
        (-46.41, 168.35, -50.20),
        (64.84, -147.72, 65.66),
        (62.45, -114.37, 68.52),
    ],
)
def test_dipole_latitudes(latitude: float, longitude: float, dipole: float) -> None:
    here = Site(id="s", name="S", latitude=latitude, longitude=longitude, elevation_m=0, zone="UTC")
    assert dipole_latitude(here, date(2025, 1, 1)) == pytest.approx(dipole, abs=0.01)
