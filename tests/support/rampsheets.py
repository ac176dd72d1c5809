"""An invented ramp along a run of frames, to draw and to tell."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from archive.model.editing import AnchorLine, RampLine, RampSheet

MOMENTS = tuple(datetime(2026, 3, 18, 21, 30, tzinfo=UTC) + timedelta(seconds=10 * n) for n in range(60))


def sheet(**changed: Any) -> RampSheet:
    """A run of ten minutes whose exposure falls from 0.5 to −0.5 stops."""
    line = RampLine(
        parameter="exposure.stops",
        unit="stops",
        rule="linear",
        scale="linear",
        anchors=(
            AnchorLine(frame="NOCT0001.DNG", position=1, taken=MOMENTS[0], value=0.5, words="+0.50 stops"),
            AnchorLine(frame="NOCT0060.DNG", position=60, taken=MOMENTS[-1], value=-0.5, words="−0.50 stops"),
        ),
        values=tuple(0.5 - n / 59 for n in range(60)),
    )
    held = RampSheet(
        title="2026-03-18/north/1",
        zone="Europe/Oslo",
        frames=tuple(f"NOCT{n:04d}.DNG" for n in range(1, 61)),
        taken=MOMENTS,
        exposure=(6.0,) * 60,
        ramps=(line,),
    )
    return replace(held, **changed)
