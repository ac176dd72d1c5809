"""What brightness tells of cameras' clocks: shifts between two, a clock against the sun, what to type."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum


class Sureness(StrEnum):
    """How much a finding is worth; ``UNTOLD`` is none at all."""

    SURE = "sure"
    LIKELY = "likely"
    UNTOLD = "cannot be told"


@dataclass(frozen=True, kw_only=True)
class CurvePoint:
    """One frame: middle of its exposure in seconds since 1970 by its listed time, and scene light in stops.

    Stops are what exposure settings do not explain: 0 is all clipped at 1 s, f/1 and ISO 100.
    """

    at: float
    stops: float


@dataclass(frozen=True, kw_only=True)
class Shift:
    """How far one curve must be moved to fit another.

    ``seconds`` are added to the second curve's times, give or take ``error`` (one standard deviation);
    ``fit`` is the correlation there. Both seconds are None where nothing can be told; ``reason`` says why.
    """

    sureness: Sureness
    seconds: float | None = None
    error: float | None = None
    fit: float | None = None
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class SunSpan:
    """Which shifts of one camera's times agree with the sun, in seconds to add; None where nothing does.

    ``best`` lies between ``low`` and ``high``. ``open`` says that longer shifts than were tried agree too.
    """

    sureness: Sureness
    best: float | None = None
    low: float | None = None
    high: float | None = None
    open: bool = False
    reason: str = ""

    @property
    def right(self) -> bool:
        """Whether the clock as it is agrees."""
        return self.low is not None and self.high is not None and self.low <= 0 <= self.high


ELSEWHERE_S = 30.0
"""What moves across the sky passes cameras that look in other directions at moments so far apart."""
_CLEARLY = 2.0
"""A difference of clocks is sure from so many times its uncertainty on."""


def as_clocks(shift: Shift) -> Shift:
    """What a shift between two skies says of two clocks.

    ``error`` becomes the uncertainty: twice the standard deviation, and no less than cameras of one clock
    differ by where they look elsewhere. A difference that is not clearly larger is likely at most.
    """
    if shift.seconds is None or shift.error is None:
        return shift
    error = max(ELSEWHERE_S, 2 * shift.error)
    clear = abs(shift.seconds) >= _CLEARLY * error
    return replace(shift, error=error, sureness=shift.sureness if clear else Sureness.LIKELY)


@dataclass(frozen=True, kw_only=True)
class PairCheck:
    """Two cameras of a night, and how far the second one's clock is from the first one's.

    Its ``error`` is the uncertainty that ``as_clocks`` tells.
    """

    first: str
    second: str
    shift: Shift

    @property
    def apart(self) -> bool:
        """Whether the clocks surely differ, by more than a sky that moves lets cameras differ."""
        shift = self.shift
        return shift.seconds is not None and abs(shift.seconds) > (shift.error or 0.0)


@dataclass(frozen=True, kw_only=True)
class SunCheck:
    """One camera of a night, and what dusk or dawn says of its clock."""

    camera: str
    span: SunSpan


@dataclass(frozen=True, kw_only=True)
class ClockSuggestion:
    """A correction that would explain what was seen; ``command`` is to be typed, ``why`` what it rests on.

    ``seconds`` are right give or take ``error``; None where the sun asks for them, which tells a span.
    """

    camera: str
    seconds: int
    command: str
    why: str
    error: float | None = None


@dataclass(frozen=True, kw_only=True)
class ClockCheck:
    """What the brightness of one night says of its cameras' clocks.

    Where two cameras disagree and nothing tells which is wrong, each has a suggestion, and only one of them
    may be followed (``either``). ``unseen`` counts the frames that are not surveyed.
    """

    night: str
    pairs: tuple[PairCheck, ...]
    suns: tuple[SunCheck, ...]
    suggestions: tuple[ClockSuggestion, ...]
    either: bool = False
    unseen: int = 0
