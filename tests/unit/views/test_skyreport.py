"""The sky in words."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from archive.model.place import Site
from archive.model.sky import ActivityLine
from archive.nights.sky import night_sky
from archive.views.skyreport import dark_in_words, kp_in_words, moon_in_words


def sky(latitude: float, night: str) -> object:
    here = Site(id="s", name="S", latitude=latitude, longitude=18.96, elevation_m=0, zone="UTC")
    return night_sky(here, date.fromisoformat(night))


# Kp in thirds as it is written everywhere: 0o, 0+, 1-, 1o …
@pytest.mark.parametrize(
    ("kp", "said"), [(0.0, "Kp 0o"), (0.333, "Kp 0+"), (0.667, "Kp 1-"), (4.333, "Kp 4+"), (9.0, "Kp 9o")]
)
def test_kp_is_written_in_thirds(kp: float, said: str) -> None:
    line = ActivityLine(begins=datetime(2026, 3, 18, tzinfo=UTC), hours=3, kp=kp, ap=None, final=True)
    assert kp_in_words(line) == said
    assert kp_in_words(replace(line, final=False)) == f"{said} (preliminary)"


def test_darkness_and_moon_are_told_also_where_there_is_none() -> None:
    assert dark_in_words(sky(50, "2026-03-18"), "UTC") == "18:43 – 03:00"  # type: ignore[arg-type]
    assert dark_in_words(sky(69.65, "2026-06-21"), "UTC").startswith("never: sun at 3.1")  # type: ignore[arg-type]
    assert dark_in_words(sky(89.9, "2026-12-21"), "UTC") == "at all hours"  # type: ignore[arg-type]
    assert moon_in_words(sky(69.65, "2026-12-21"), "UTC") == "93 % lit, up all night"  # type: ignore[arg-type]
