"""What edits answer with: what was saved, carried, settled or taken back, and where values come from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.errors import Exit
from archive.model.capture import Frame
from archive.model.entry import Version
from archive.model.identity import EntryId
from archive.model.recipe import HouseRecipe


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What a save did: the entry is None when it would have changed nothing.

    ``frame`` is the first of those it speaks about; ``shared`` says that they share the version, on
    ``line``; ``in_sequence`` that a frame's own counts in sets and movies.
    """

    frame: Frame
    entry: EntryId | None
    words: tuple[str, ...]
    frames: int = 1
    shared: bool = False
    in_sequence: bool = False
    line: str = "main"


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What carrying did, or would do.

    ``masked`` are frames whose own in-sequence values hide some; ``ramps_kept`` parameters that go on
    ramping where they did, ``ramps_ended`` those that are one value from now on.
    """

    entry: EntryId | None
    frames: int
    operators: tuple[str, ...]
    masked: tuple[tuple[str, tuple[str, ...]], ...]
    ramps_kept: tuple[str, ...] = ()
    ramps_ended: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Source:
    """One part of a frame's effective recipe: what it is, in words, and where it comes from.

    ``kind`` is ``own``, ``shared`` or ``not applied``; ``ramps`` say between which anchors values lie.
    """

    part: str
    words: str
    kind: str
    entry: EntryId | None = None
    origin: str = ""
    ramps: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Contest:
    """Versions that both claim to be current for some frames of one layer, newest first, and how they differ.

    ``differences`` has, for each operator in dispute, what each version says, in the versions' order.
    """

    frames: tuple[str, ...]
    shared: bool
    versions: tuple[Version, ...]
    differences: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, kw_only=True)
class LineState:
    """One line of a frame: what it is called now, and its newest version if it has any."""

    name: str
    started_as: str
    current: bool
    versions: int
    newest: Version | None


@dataclass(frozen=True, kw_only=True)
class FinishLine:
    """One item of a finish as people read it."""

    id: str
    on: bool
    words: str


@dataclass(frozen=True, kw_only=True)
class HouseLine:
    """One house recipe with its operators in words."""

    recipe: HouseRecipe
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AnchorLine:
    """An anchor: at which frame, when (UTC), and its value with its unit."""

    frame: str
    position: int
    taken: datetime
    value: float
    words: str


@dataclass(frozen=True, kw_only=True)
class RampLine:
    """A ramped parameter along a run of frames: its value at each of them, and its anchors."""

    parameter: str
    unit: str
    rule: str
    scale: str
    anchors: tuple[AnchorLine, ...]
    values: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class RampSheet:
    """The frames of one run with what their camera's settings gathered, and every ramp along them.

    ``exposure`` is log2(t · ISO/100 / N²) in stops, None where a setting is not known; ``outside`` are
    frames of the run that no ramp speaks for; ``zone`` is the site's.
    """

    title: str
    zone: str | None
    frames: tuple[str, ...]
    taken: tuple[datetime, ...]
    exposure: tuple[float | None, ...]
    ramps: tuple[RampLine, ...]
    outside: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CompareRow:
    """One operator in two states, in words; empty where it is not applied."""

    part: str
    first: str
    second: str


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Two states of one frame: how far their pictures are apart, and what their recipes say.

    Differences are CIEDE2000; ``changed`` is the share of pixels that differ by 1 or more, which is about
    what can be seen side by side, ``any_changed`` the share that differ at all.
    """

    frame: str
    first: str
    second: str
    width: int
    height: int
    mean: float
    largest: float
    changed: float
    any_changed: float
    rows: tuple[CompareRow, ...]
    written: str | None = None


@dataclass(frozen=True, kw_only=True)
class TakenBack:
    """What taking an entry back did: the new entries, and what stands now, in words."""

    of: EntryId
    entries: tuple[EntryId, ...]
    words: tuple[str, ...]
    overruled: int = 0

    @property
    def exit_code(self) -> Exit:
        return Exit.DONE
