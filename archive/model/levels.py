"""What a picture's brightness amounts to: counts by level, and how a recipe answers to light."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class ChannelLevels:
    """One channel: ``counts`` of samples by level, and how many are ``clipped`` and ``black``."""

    name: str
    counts: tuple[int, ...]
    clipped: int
    black: int

    @property
    def samples(self) -> int:
        return sum(self.counts)


@dataclass(frozen=True, kw_only=True)
class Levels:
    """A histogram.

    ``of`` is ``raw`` or ``picture``. The bins lie evenly between ``low`` and ``high``, which count ``unit``:
    stops relative to clipping for a raw, where what is darker stands in the first bin; shares of white,
    as the file encodes them, for a picture.
    """

    of: str
    unit: str
    low: float
    high: float
    channels: tuple[ChannelLevels, ...]


@dataclass(frozen=True, kw_only=True)
class TooFine:
    """Detail that sharpening works on and a picture hardly shows: its radius in that picture's ``pixels``.

    ``size`` is the longer side of a preview that shows it; None where no preview does.
    """

    pixels: float
    size: int | None


@dataclass(frozen=True, kw_only=True)
class Idle:
    """An operator of a recipe that takes no part in a frame's picture, and why not, as half a sentence."""

    operator: str
    why: str


@dataclass(frozen=True, kw_only=True)
class TonePoint:
    """Grey light of ``stops`` below clipping on the sensor, and the share of white it is shown with.

    ``untouched`` is what the same light is shown with by no recipe at all. Both are sRGB values, 0 to 1.
    """

    stops: float
    shown: float
    untouched: float


@dataclass(frozen=True, kw_only=True)
class ToneResponse:
    """How even, grey areas of a frame are shown, dark to bright, and which operators take part."""

    points: tuple[TonePoint, ...]
    operators: tuple[str, ...]
