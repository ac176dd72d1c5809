"""The frames of one camera in order of time, as sequences see them: how far apart, and how alike."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

LONGEST_GAP_S = 6 * 3600
"""No gap inside a run is longer, whatever its cadence, unless a person joins what lies around it."""
STEP_STOPS, EQUAL_STOPS = 1.05, 0.05
"""How far settings may move from a frame to the next, and how far they do that are meant to be equal."""

_RELATIVE, _MOST = 0.15, 3.0
_FINE_JITTER, _COARSE_JITTER, COARSEST_JITTER = 0.35, 1.05, 2.55
_ZOOM_STOPS = math.log2(1.02)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One frame as sequences see it: ``start`` in UTC after clock corrections, exposure in seconds."""

    frame: str
    start: datetime
    exposure_s: float | None = None
    iso: int | None = None
    f_number: float | None = None
    focal_mm: float | None = None
    name: str = ""


class Shots:
    """Frames in order of time, the seconds from each to the next, and what people said of them.

    ``coarse`` is whether their clock told whole seconds only, ``jitter`` the seconds by which gaps that are
    meant to be equal may differ then. Frames are named by their places.
    """

    def __init__(self, shots: Iterable[Shot], breaks: frozenset[str], joins: frozenset[str]) -> None:
        ordered = sorted(map(_plain, shots), key=lambda shot: (shot.start, shot.name, shot.frame))
        self.shots = ordered
        self._settings = [(shot.exposure_s, shot.iso, shot.f_number, shot.focal_mm) for shot in ordered]
        self.breaks = breaks
        self.joins = joins - breaks
        self.gaps = [(after.start - before.start).total_seconds() for before, after in pairwise(ordered)]
        self.coarse = all(shot.start.microsecond == 0 for shot in ordered)
        self.jitter = _COARSE_JITTER if self.coarse else _FINE_JITTER

    def broken(self, at: int) -> bool:
        """Whether a person breaks sequences before this frame."""
        return self.shots[at].frame in self.breaks

    def joined(self, at: int) -> bool:
        """Whether a person holds this frame together with the one before."""
        return self.shots[at].frame in self.joins

    def near(self, gap: float, expected: float | None, cadence: float | None = None) -> bool:
        """Whether a gap in seconds is as long as expected, by what clocks and cameras of this cadence do."""
        if expected is None:
            return False
        scale = expected if cadence is None else cadence
        jitter = (
            min(COARSEST_JITTER, max(_COARSE_JITTER, scale / 3)) if self.coarse else min(_FINE_JITTER, scale)
        )
        return abs(gap - expected) <= max(min(_RELATIVE * scale, _MOST), jitter)

    def alike(self, one: int, other: int, allowed: float) -> bool:
        """Whether settings differ by no more than so many stops, and the lens was not zoomed."""
        before, after = self._settings[one], self._settings[other]
        if before == after:
            return True
        return (
            _stops(before[0], after[0]) <= allowed
            and _stops(before[1], after[1]) <= allowed
            and 2 * _stops(before[2], after[2]) <= allowed
            and _stops(before[3], after[3]) <= _ZOOM_STOPS
        )


def _plain(shot: Shot) -> Shot:
    """A shot whose settings are numbers, or unknown: files may say anything."""
    if all(map(_usable, (shot.exposure_s, shot.iso, shot.f_number, shot.focal_mm))):
        return shot
    return replace(
        shot,
        exposure_s=shot.exposure_s if _usable(shot.exposure_s) else None,
        iso=shot.iso if _usable(shot.iso) else None,
        f_number=shot.f_number if _usable(shot.f_number) else None,
        focal_mm=shot.focal_mm if _usable(shot.focal_mm) else None,
    )


def _usable(setting: float | None) -> bool:
    return setting is None or 0 < setting < math.inf


def _stops(before: float | None, after: float | None) -> float:
    if before is None or after is None or before == after:
        return 0.0
    return abs(math.log2(after / before))
