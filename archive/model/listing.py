"""What listings answer with: nights, sequences, and a frame's whole story."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from archive.model.capture import Frame
from archive.model.entry import Version
from archive.model.product import Derivative
from archive.model.recipe import Value
from archive.model.sky import ActivityLine, FrameSky, NightSky


@dataclass(frozen=True, kw_only=True)
class NightLine:
    """One night: how much was taken, by which cameras, from when to when (UTC); ``zone`` is the site's.

    Two sites may bear one name; ``site_id`` tells them apart.

    ``contested`` counts the frames with more than one current version of a recipe.
    """

    night: str
    site: str | None
    zone: str | None
    cameras: tuple[str, ...]
    frames: int
    sequences: int
    first: datetime
    last: datetime
    site_id: str | None = None
    sky: NightSky | None = None
    contested: int = 0


@dataclass(frozen=True, kw_only=True)
class Course:
    """How bright a sequence was from first to last frame, in stops, exposure settings taken out.

    ``parts`` are means of equal parts, None where nothing was surveyed; ``low`` and ``high`` are of single
    frames. Of one frame that it is told for, ``at`` is its part and ``stops`` its own brightness.
    """

    parts: tuple[float | None, ...]
    low: float
    high: float
    at: int | None = None
    stops: float | None = None


@dataclass(frozen=True, kw_only=True)
class SequenceLine:
    """One sequence; ``address`` is how people name it, ``key`` how the catalogue does.

    ``contested`` counts its frames with more than one current version of a recipe.
    """

    address: str
    key: str
    night: str
    camera: str
    number: int
    first: datetime
    last: datetime
    frames: int
    missed: int
    cadence_s: float
    zone: str | None
    title: str = ""
    course: Course | None = None
    contested: int = 0

    @property
    def span_s(self) -> float:
        """Time covered: intervals, missed ones too, times the cadence, the last frame's own included."""
        return (self.frames + self.missed) * self.cadence_s

    def plays_s(self, rate: float = 25.0) -> float:
        """Seconds that a movie of it plays."""
        return self.frames / rate


@dataclass(frozen=True, kw_only=True)
class FrameLine:
    """A frame with what people gave it; ``address`` counts it in its sequence, if it is in one."""

    frame: Frame
    camera: str
    zone: str | None
    address: str | None
    rating: int
    keywords: tuple[str, ...]
    versions: int
    contested: bool


@dataclass(frozen=True, kw_only=True)
class FoundFrames:
    """The first frames that a query asks for; ``more`` where there may be more than were counted."""

    frames: tuple[FrameLine, ...]
    count: int
    more: bool


@dataclass(frozen=True, kw_only=True)
class Copy:
    """Where a volume's own hash lists say that a master lies."""

    volume: str
    path: str


@dataclass(frozen=True, kw_only=True)
class HistoryLine:
    """One version in a recipe's history, newest first; ``current`` if nothing builds on it.

    ``line`` is what its line is called now.
    """

    version: Version
    current: bool
    words: tuple[str, ...]
    later_note: str = ""
    line: str = "main"


@dataclass(frozen=True, kw_only=True)
class JournalFault:
    """An entry or hash list that is set aside, and why."""

    place: str
    name: str
    message: str


@dataclass(frozen=True, kw_only=True)
class Story:
    """One frame with everything known of it; ``copies`` with their volumes' names."""

    line: FrameLine
    copies: tuple[tuple[str, Copy], ...]
    companions: tuple[tuple[str, str], ...]
    recipe: tuple[tuple[str, str], ...]
    made: tuple[Derivative, ...]
    texts: tuple[tuple[str, str], ...] = ()
    sky: FrameSky | None = None
    activity: ActivityLine | None = None
    course: Course | None = None
    versions: tuple[HistoryLine, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ParameterHelp:
    """One parameter as people read about it, and as programs do.

    ``range`` says unit, limits and neutral value in words. A number has ``low``, ``high``, ``step``; a text
    has ``choices``, or is a list of ``frames``. ``ramp`` is whether it may change along a sequence, ``scale``
    the one on which it does so evenly: ``linear`` or ``reciprocal``.
    """

    name: str
    range: str
    help: str
    neutral: Value
    unit: str = ""
    low: float | None = None
    high: float | None = None
    step: float | None = None
    choices: tuple[str, ...] = ()
    frames: bool = False
    ramp: bool = False
    scale: str = "linear"


@dataclass(frozen=True, kw_only=True)
class OperatorHelp:
    """One operator as people read about it, in its newest version; recipes may still hold ``older`` ones.

    ``help`` says more than the ``summary``. ``finish`` is whether it can be a finish step, ``mosaic_only``
    whether it leaves frames alone that are no Bayer mosaic; ``schema`` is the JSON Schema of its values.
    """

    name: str
    version: int
    family: str
    summary: str
    parameters: tuple[ParameterHelp, ...]
    older: tuple[int, ...] = ()
    help: str = ""
    finish: bool = False
    mosaic_only: bool = False
    schema: Mapping[str, Any] = field(default_factory=dict)
