"""Frames in rounds: brackets or groups on an interval timer, whose gaps and settings come in turn."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

from archive.nights.shots import LONGEST_GAP_S, STEP_STOPS, Shots

MIN_ROUNDS = 5
"""So many rounds show that a timer made them: a person who brackets by hand keeps no pauses so well."""
LARGEST_ROUND = 9
MAX_ROUNDS = 5
"""The longest gap inside a run, in rounds: four missed one after the other."""

_KEPT, _JUDGED = 0.75, 12


class Steps(NamedTuple):
    """From frame to frame: how many cadences each gap is long, and the seconds that it shows one to be."""

    cadences: list[int]
    seconds: list[float]


def rounds_from(shots: Shots, begin: int) -> Steps:
    """The steps of the rounds that begin with a frame, to their end or to a frame that a person joined.

    None where frames come one by one: a steady cadence is no round.
    """
    jump = _first_jump(shots, begin)
    for size in range(jump + 1, LARGEST_ROUND + 1):
        if begin + MIN_ROUNDS * size > len(shots.shots):
            break
        if _comes_again(shots, begin, size):
            steps = _Rounds(shots, begin, size).steps()
            if steps.cadences:
                return steps
    return Steps([], [])


def _first_jump(shots: Shots, begin: int) -> int:
    """How many frames further on gaps or settings jump; beyond the largest round where they do not."""
    for at in range(begin, min(begin + LARGEST_ROUND, len(shots.gaps)) - 1):
        low, high = sorted(shots.gaps[at : at + 2])
        # Each of two gaps may be off: whole seconds make 2 s and 4 s of a cadence of three.
        if high - low > 2 * shots.jitter and not shots.near(high, low):
            return at + 1 - begin
        if not shots.alike(at, at + 1, STEP_STOPS):
            return at + 1 - begin
    return LARGEST_ROUND


def _comes_again(shots: Shots, begin: int, size: int) -> bool:
    """Whether what follows a first round may be another one."""
    gaps, behind = shots.gaps[begin : begin + size], begin + size
    return (
        shots.near(shots.gaps[behind], gaps[0], sum(gaps) / size)
        and shots.alike(begin, behind, STEP_STOPS)
        and max(gaps) <= LONGEST_GAP_S
        and not any(shots.broken(at) or shots.joined(at) for at in range(begin + 1, behind + 1))
    )


class _Rounds:
    """The latest round, place by place: the gap behind each frame, and which frame it was."""

    def __init__(self, shots: Shots, begin: int, size: int) -> None:
        self._shots = shots
        self._size = size
        self._gaps = shots.gaps[begin : begin + size]
        self._frames = [begin + size, *range(begin + 1, begin + size)]

    def steps(self) -> Steps:
        """Through the rounds behind the first one; none where the pauses between them are not a timer's."""
        shots, size = self._shots, self._size
        longest = self._gaps.index(max(self._gaps))
        pauses = [self._gaps[longest]]
        steps = Steps([1] * size, [sum(self._gaps) / size] * size)
        place, at = 0, self._frames[0]
        while at < len(shots.gaps) and not shots.broken(at + 1):
            count = self._places_on(at, place)
            if place == longest and count == 1:
                pauses.append(shots.gaps[at])
            if count is None and (count := self._late(at, place)) is not None:
                pauses.append(shots.gaps[at])
            elif count == 1:
                self._gaps[place] = shots.gaps[at]
            joined = shots.joined(at + 1)
            if count is None and not joined:
                break
            steps.cadences.append(count or 1)
            steps.seconds.append(sum(self._gaps) / size)
            if joined:
                break
            at, place = at + 1, (place + steps.cadences[-1]) % size
            self._frames[place] = at
            # Judged once: going to the end from every frame of what is no timer's would take for ever.
            if len(pauses) == _JUDGED and not _kept(pauses, shots.jitter):
                break
        return steps if _kept(pauses[:_JUDGED], shots.jitter) else Steps([], [])

    def _places_on(self, at: int, place: int) -> int | None:
        """How many places further on the frame after ``at`` is, by its gap and settings."""
        gap, beat, expected = self._shots.gaps[at], sum(self._gaps) / self._size, 0.0
        if gap > LONGEST_GAP_S:
            return None
        for count in range(1, MAX_ROUNDS * self._size + 1):
            expected += self._gaps[(place + count - 1) % self._size]
            if self._shots.near(gap, expected, beat) and self._as_before(place + count, at + 1):
                return count
        return None

    def _late(self, at: int, place: int) -> int | None:
        """How many places on a frame off the beat is, where a whole round as before goes on behind it."""
        gap, whole = self._shots.gaps[at], sum(self._gaps)
        late = gap - self._gaps[place]
        if not 0 < late <= min(MAX_ROUNDS * whole, LONGEST_GAP_S) or at + self._size >= len(self._shots.gaps):
            return None
        goes_on = self._as_before(place + 1, at + 1) and all(
            self._shots.near(
                self._shots.gaps[at + step], self._gaps[(place + step) % self._size], whole / self._size
            )
            and self._as_before(place + 1 + step, at + 1 + step)
            for step in range(1, self._size + 1)
        )
        return 1 + self._size * int(late / whole) if goes_on else None

    def _as_before(self, place: int, frame: int) -> bool:
        return self._shots.alike(self._frames[place % self._size], frame, STEP_STOPS)


def _kept(pauses: list[float], jitter: float) -> bool:
    """Whether so many of these pauses are equal as a timer keeps them."""
    equal = [abs(after - before) <= jitter for before, after in pairwise(pauses)]
    return len(pauses) >= MIN_ROUNDS - 1 and sum(equal) >= _KEPT * len(equal)
