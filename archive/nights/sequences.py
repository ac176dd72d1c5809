"""Sequences: which frames of one camera were taken in one go, told from times and settings alone.

A run is at least five consecutive frames whose cadence and settings are steady or move smoothly, or whose
gaps and settings come again and again in one order, as those of brackets on an interval timer do. Frames
missed inside it are counted; a change of regime, a longer gap or a person's word breaks it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import median, median_low

from archive.nights.rounds import LARGEST_ROUND, Steps, rounds_from
from archive.nights.shots import COARSEST_JITTER, EQUAL_STOPS, LONGEST_GAP_S, STEP_STOPS, Shot, Shots

MIN_FRAMES = 5
MAX_CADENCES = 5
"""The longest gap inside a run, in cadences: four frames missed one after the other."""

_MEMORY = 7
_NO_FRAMES: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Run:
    """A sequence: its frames in order, seconds from one to the next, how many were missed inside.

    ``cadence_s`` is the mean over a round where frames come in rounds, ``span_s`` from the first frame to one
    cadence after the last.
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
    search = _Search(Shots(shots, breaks, joins))
    runs = []
    start = 0
    while start + MIN_FRAMES <= len(shots):
        steps = search.run_from(start)
        frames = len(steps.cadences) + 1
        if frames >= MIN_FRAMES:
            runs.append(search.told(start, steps))
            start += frames
        else:
            # The gap after a test shot says nothing: the run may begin with the very next frame.
            start += 1
    return runs


class _Search:
    """How the gaps between frames continue a run."""

    def __init__(self, shots: Shots) -> None:
        self.shots = shots
        self.gaps = shots.gaps
        self._rounds: dict[int, Steps] = {}

    def run_from(self, start: int) -> Steps:
        """The steps of a run that begins at ``start``."""
        cadences, seconds = self._part(start, start)
        # A person's word also holds over a change of cadence: it is learned anew behind it.
        while cadences and self.shots.joined(start + len(cadences)):
            more = self._part(start, start + len(cadences))
            if not more.cadences:
                break
            cadences += more.cadences
            seconds += more.seconds
        # A last frame after a pause is a look at how it went, not a part of it.
        while cadences and cadences[-1] > 1 and not self.shots.joined(start + len(cadences)):
            cadences.pop()
            seconds.pop()
        return Steps(cadences, seconds)

    def _part(self, start: int, begin: int) -> Steps:
        """The steps from ``begin`` to the end of a run from ``start`` on, or to a frame that is joined."""
        counts = self._one_by_one(start, begin)
        rounds = self._rounds_from(begin)
        if len(rounds.cadences) >= len(counts):
            return Steps(list(rounds.cadences), list(rounds.seconds))
        end = begin + len(counts)
        if len(counts) < 2 * LARGEST_ROUND:
            # A round by hand and the first of a timer may look like a short run: the timer's rounds are one.
            for first in range(begin + 1, end + 1):
                if first + len(self._rounds_from(first).cadences) > end:
                    counts = counts[: first - 1 - begin]
                    break
        return Steps(counts, self.gaps[begin : begin + len(counts)])

    def _rounds_from(self, begin: int) -> Steps:
        if begin not in self._rounds:
            self._rounds[begin] = rounds_from(self.shots, begin)
        return self._rounds[begin]

    def _one_by_one(self, start: int, begin: int) -> list[int]:
        """How many cadences each gap from ``begin`` on is long, where the cadence is from frame to frame."""
        recent: list[int] = []
        cadences: list[int] = []
        for at in range(begin, len(self.gaps)):
            if self.shots.broken(at + 1):
                break
            count = self._continues(start, at, recent)
            joined = self.shots.joined(at + 1)
            if count is None and not joined:
                break
            cadences.append(count or 1)
            if joined:
                break
            if count == 1:
                recent = [*recent[1 - _MEMORY :], at]
        return cadences

    def _continues(self, start: int, at: int, recent: list[int]) -> int | None:
        """How many cadences the gap after ``at`` is long, or None when the run ends there."""
        gap = self.gaps[at]
        if gap > LONGEST_GAP_S:
            return None
        known = recent if len(recent) >= MIN_FRAMES - 1 else recent + self._ahead(at)
        cadence = self._cadence([self.gaps[index] for index in known])
        if self.shots.near(gap, cadence) or self.shots.near(gap, self._by_pause(at, known)):
            return 1 if self._smooth(at, 1) else None
        if at == start or cadence <= 0:
            return None
        count = round(gap / cadence)
        if 2 <= count <= MAX_CADENCES and self.shots.near(gap, count * cadence, cadence):
            return count if self._missed_inside(at, count, cadence) else None
        return self._stalled(at, gap, cadence)

    def _missed_inside(self, at: int, count: int, cadence: float) -> bool:
        if not self._smooth(at, count) or self._new_regime(at):
            return False
        if self._bracketed(at):
            # Not a frame missed, but the pause before the next bracket.
            return False
        # Settings that moved by more than a ramp's step, and another cadence behind: composed anew.
        later = self.gaps[at + 1 : at + 3]
        return self._smooth(at, 1) or all(self.shots.near(other, cadence) for other in later)

    def _stalled(self, at: int, gap: float, cadence: float) -> int | None:
        """How many cadences a gap off the beat counts for, where the same cadence goes on behind it.

        A camera whose buffer was full takes the next exposure when it can, not when it is due.
        """
        later = self.gaps[at + 1 : at + MIN_FRAMES]
        goes_on = len(later) == MIN_FRAMES - 1 and all(self.shots.near(other, cadence) for other in later)
        if not goes_on or not cadence < gap <= MAX_CADENCES * cadence or not self._smooth(at, 1):
            return None
        return max(1, int(gap / cadence))

    def _cadence(self, gaps: list[float]) -> float:
        """The seconds from one frame to the next that these gaps show."""
        middle = median_low(gaps)
        if not self.shots.coarse:
            return middle
        # Whole seconds cut a cadence of 10.4 s to 10 or 11: the mean around the median restores it.
        reach = max(self.shots.jitter, min(2 * COARSEST_JITTER, 0.45 * middle))
        close = [gap for gap in gaps if abs(gap - middle) <= reach]
        return sum(close) / len(close)

    def _ahead(self, at: int) -> list[int]:
        """The gaps from here on, which show the cadence where too few are known behind."""
        found = []
        for index in range(at, min(at + MIN_FRAMES - 1, len(self.gaps))):
            if self.shots.broken(index + 1):
                break
            found.append(index)
        return found or [at]

    def _by_pause(self, at: int, known: list[int]) -> float | None:
        """The gap to expect when it is the pause between exposures that is kept, not the cadence."""
        exposure = self.shots.shots[at].exposure_s
        pauses = [
            self.gaps[index] - held
            for index in known
            if index != at and (held := self.shots.shots[index].exposure_s) is not None
        ]
        if exposure is None or not pauses:
            return None
        pause = median(pauses)
        return exposure + pause if pause >= 0 else None

    def _smooth(self, at: int, steps: int) -> bool:
        """Whether settings moved by no more than a stop for each frame that lies between, or come in turn."""
        return self.shots.alike(at, at + 1, STEP_STOPS * steps) or (steps == 1 and self._bracketed(at))

    def _bracketed(self, at: int) -> bool:
        """Whether two whole rounds of settings that jump, around a frame and the next, are alike."""
        alike = self.shots.alike
        around = range(max(0, at - LARGEST_ROUND), min(at + LARGEST_ROUND, len(self.gaps)))
        if all(alike(one, one + 1, STEP_STOPS) for one in around):
            return False
        for size in range(2, LARGEST_ROUND + 1):
            for first in range(max(0, at + 2 - 2 * size), min(at, len(self.gaps) + 1 - 2 * size) + 1):
                places = range(first, first + size)
                if all(alike(one, one + size, EQUAL_STOPS) for one in places) and not all(
                    alike(one, one + 1, STEP_STOPS) for one in places
                ):
                    return True
        return False

    def _new_regime(self, at: int) -> bool:
        """Whether the next two gaps are as long: a slower cadence, not frames missed."""
        gap, later = self.gaps[at], self.gaps[at + 1 : at + 3]
        return len(later) == 2 and all(self.shots.near(other, gap, gap / MAX_CADENCES) for other in later)

    def told(self, start: int, steps: Steps) -> Run:
        single = [seconds for count, seconds in zip(*steps, strict=True) if count == 1]
        cadence = round(self._cadence(single), 3)
        shots = self.shots.shots[start : start + len(steps.cadences) + 1]
        return Run(
            frames=tuple(shot.frame for shot in shots),
            cadence_s=cadence,
            missed=sum(count - 1 for count in steps.cadences),
            span_s=(shots[-1].start - shots[0].start).total_seconds() + cadence,
        )
