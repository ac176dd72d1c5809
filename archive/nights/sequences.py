"""Sequences: which frames of one camera were taken in one go, told from times and settings alone.

A run is at least five consecutive frames whose cadence and settings are steady or move smoothly, or whose
settings come again and again in one order, as brackets do. Frames missed inside it are counted; a change of
regime, a longer gap or a person's word breaks it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from statistics import median, median_low

MIN_FRAMES = 5
MAX_CADENCES = 5
"""The longest gap inside a run, in cadences: four frames missed one after the other."""
LONGEST_GAP_S = 6 * 3600
"""No gap inside a run is longer, whatever its cadence, unless a person joins what lies around it."""

_RELATIVE, _MOST = 0.15, 3.0
_FINE_JITTER, _COARSE_JITTER, _COARSEST = 0.35, 1.05, 2.55
_STEP_STOPS = 1.05
_ZOOM = 1.02
_LONGEST_BRACKET, _EQUAL_STOPS = 9, 0.05
_MEMORY = 7
_NO_FRAMES: frozenset[str] = frozenset()


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


@dataclass(frozen=True, kw_only=True)
class Run:
    """A sequence: its frames in order, seconds from one to the next, how many were missed inside.

    ``span_s`` is from the first frame to one cadence after the last.
    """

    frames: tuple[str, ...]
    cadence_s: float
    missed: int
    span_s: float

    def plays_s(self, rate: Fraction) -> Fraction:
        """How long its movie plays at ``rate`` frames per second, in seconds."""
        return len(self.frames) / rate


def find_sequences(
    shots: Sequence[Shot], breaks: frozenset[str] = _NO_FRAMES, joins: frozenset[str] = _NO_FRAMES
) -> list[Run]:
    """The runs among the frames of one camera, in order of time; no frame is in two of them.

    Parameters
    ----------
    shots : frames of one camera in any order.
    breaks : frames before which a person breaks a sequence; this outweighs everything.
    joins : frames that a person holds together with the one before.
    """
    ordered = sorted(map(_plain, shots), key=lambda shot: (shot.start, shot.name, shot.frame))
    search = _Search(ordered, breaks, joins)
    runs = []
    start = 0
    while start + MIN_FRAMES <= len(ordered):
        end, cadences = search.run_from(start)
        if end - start >= MIN_FRAMES:
            runs.append(search.told(start, end, cadences))
            start = end
        else:
            # The gap after a test shot says nothing: the run may begin with the very next frame.
            start += 1
    return runs


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


class _Search:
    """The gaps between ordered shots, and how they continue a run."""

    def __init__(self, shots: list[Shot], breaks: frozenset[str], joins: frozenset[str]) -> None:
        self.shots = shots
        self.breaks = breaks
        self.joins = joins - breaks
        self.gaps = [(after.start - before.start).total_seconds() for before, after in pairwise(shots)]
        self.coarse = all(shot.start.microsecond == 0 for shot in shots)

    def run_from(self, start: int) -> tuple[int, list[int]]:
        """Where a run that begins at ``start`` ends (exclusive), and how many cadences each gap is long."""
        recent: list[int] = []
        cadences: list[int] = []
        at = start
        while at + 1 < len(self.shots):
            following = self.shots[at + 1].frame
            if following in self.breaks:
                break
            count = self._continues(start, at, recent)
            if following in self.joins:
                # A person's word also holds over a change of cadence: it is learned anew behind it.
                count = count or 1
                recent = []
            elif count is None:
                break
            elif count == 1:
                recent = [*recent[1 - _MEMORY :], at]
            cadences.append(count)
            at += 1
        # A last frame after a pause is a look at how it went, not a part of it.
        while cadences and cadences[-1] > 1 and self.shots[at].frame not in self.joins:
            cadences.pop()
            at -= 1
        return at + 1, cadences

    def _continues(self, start: int, at: int, recent: list[int]) -> int | None:
        """How many cadences the gap after ``at`` is long, or None when the run ends there."""
        gap = self.gaps[at]
        if gap > LONGEST_GAP_S:
            return None
        known = recent if len(recent) >= MIN_FRAMES - 1 else recent + self._ahead(at)
        cadence = self._cadence([self.gaps[index] for index in known])
        if self._near(gap, cadence) or self._near(gap, self._by_pause(at, known)):
            return 1 if self._smooth(at, 1) else None
        if at == start or cadence <= 0:
            return None
        count = round(gap / cadence)
        if 2 <= count <= MAX_CADENCES and self._near(gap, count * cadence, cadence):
            return count if self._missed_inside(at, count, cadence) else None
        return self._stalled(at, gap, cadence)

    def _missed_inside(self, at: int, count: int, cadence: float) -> bool:
        if not self._smooth(at, count) or self._new_regime(at):
            return False
        # Settings that moved by more than a ramp's step, and another cadence behind: composed anew.
        later = self.gaps[at + 1 : at + 3]
        return self._smooth(at, 1) or all(self._near(other, cadence) for other in later)

    def _stalled(self, at: int, gap: float, cadence: float) -> int | None:
        """How many cadences a gap off the beat counts for, where the same cadence goes on behind it.

        A camera whose buffer was full takes the next exposure when it can, not when it is due.
        """
        later = self.gaps[at + 1 : at + MIN_FRAMES]
        goes_on = len(later) == MIN_FRAMES - 1 and all(self._near(other, cadence) for other in later)
        if not goes_on or not cadence < gap <= MAX_CADENCES * cadence or not self._smooth(at, 1):
            return None
        return max(1, int(gap / cadence))

    def _cadence(self, gaps: list[float]) -> float:
        """The seconds from one frame to the next that these gaps show."""
        middle = median_low(gaps)
        if not self.coarse:
            return middle
        # Whole seconds cut a cadence of 10.4 s to 10 or 11: the mean around the median restores it.
        reach = max(_COARSE_JITTER, min(2 * _COARSEST, 0.45 * middle))
        close = [gap for gap in gaps if abs(gap - middle) <= reach]
        return sum(close) / len(close)

    def _ahead(self, at: int) -> list[int]:
        """The gaps from here on, which show the cadence where too few are known behind."""
        found = []
        for index in range(at, min(at + MIN_FRAMES - 1, len(self.gaps))):
            if self.shots[index + 1].frame in self.breaks:
                break
            found.append(index)
        return found or [at]

    def _by_pause(self, at: int, known: list[int]) -> float | None:
        """The gap to expect when it is the pause between exposures that is kept, not the cadence."""
        exposure = self.shots[at].exposure_s
        pauses = [
            self.gaps[index] - held
            for index in known
            if index != at and (held := self.shots[index].exposure_s) is not None
        ]
        if exposure is None or not pauses:
            return None
        pause = median(pauses)
        return exposure + pause if pause >= 0 else None

    def _near(self, gap: float, expected: float | None, cadence: float | None = None) -> bool:
        if expected is None:
            return False
        scale = expected if cadence is None else cadence
        jitter = min(_COARSEST, max(_COARSE_JITTER, scale / 3)) if self.coarse else min(_FINE_JITTER, scale)
        return abs(gap - expected) <= max(min(_RELATIVE * scale, _MOST), jitter)

    def _smooth(self, at: int, steps: int) -> bool:
        """Whether settings moved by no more than a stop for each frame that lies between, or come in turn."""
        return self._alike(at, at + 1, _STEP_STOPS * steps) or (steps == 1 and self._bracketed(at))

    def _bracketed(self, at: int) -> bool:
        """Whether two whole rounds of settings around a frame and the next are alike."""
        for size in range(2, _LONGEST_BRACKET + 1):
            for first in range(max(0, at + 2 - 2 * size), min(at, len(self.shots) - 2 * size) + 1):
                if all(self._alike(one, one + size, _EQUAL_STOPS) for one in range(first, first + size)):
                    return True
        return False

    def _alike(self, one: int, other: int, allowed: float) -> bool:
        before, after = self.shots[one], self.shots[other]
        return (
            _stops(before.exposure_s, after.exposure_s) <= allowed
            and _stops(before.iso, after.iso) <= allowed
            and 2 * _stops(before.f_number, after.f_number) <= allowed
            and _stops(before.focal_mm, after.focal_mm) <= math.log2(_ZOOM)
        )

    def _new_regime(self, at: int) -> bool:
        """Whether the next two gaps are as long: a slower cadence, not frames missed."""
        gap, later = self.gaps[at], self.gaps[at + 1 : at + 3]
        return len(later) == 2 and all(self._near(other, gap, gap / MAX_CADENCES) for other in later)

    def told(self, start: int, end: int, cadences: list[int]) -> Run:
        single = [gap for gap, count in zip(self.gaps[start:], cadences, strict=False) if count == 1]
        cadence = round(self._cadence(single), 3)
        between = (self.shots[end - 1].start - self.shots[start].start).total_seconds()
        return Run(
            frames=tuple(shot.frame for shot in self.shots[start:end]),
            cadence_s=cadence,
            missed=sum(count - 1 for count in cadences),
            span_s=between + cadence,
        )


def _stops(before: float | None, after: float | None) -> float:
    if before is None or after is None or before <= 0 or after <= 0:
        return 0.0
    return abs(math.log2(after / before))
