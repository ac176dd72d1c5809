"""What edits answer with: what was saved, carried, settled or taken back, and where values come from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.errors import Exit
from archive.model.capture import Frame
from archive.model.entry import Version
from archive.model.identity import EntryId
from archive.model.recipe import HouseRecipe

Masked = tuple[tuple[str, tuple[str, ...]], ...]
"""Frames by file name, and what each has of its own, so that a shared value does not reach it."""


@dataclass(frozen=True, kw_only=True)
class Settled:
    """A contest that an edit ended by building on all sides of it: the versions, newest first.

    The edit went on from the newest; what only the others said is in the history. ``frames`` is how many
    frames were contested so.
    """

    versions: tuple[Version, ...]
    shared: bool
    frames: int


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What a save did: the entry is None when it would have changed nothing.

    ``frame`` is the first of those it speaks about; ``shared`` says that they share the version, on
    ``line``, as it is called now; ``in_sequence`` that a frame's own counts in sets and movies; ``version``
    that a version of a recipe was saved, and not only a note or a line's name. ``settled`` are contests
    that it ended; ``masked`` frames whose own values hide what was shared, ``masked_stills`` those where
    they do so in stills only.
    """

    frame: Frame
    entry: EntryId | None
    words: tuple[str, ...]
    frames: int = 1
    shared: bool = False
    in_sequence: bool = False
    line: str = "main"
    version: bool = True
    settled: tuple[Settled, ...] = ()
    masked: Masked = ()
    masked_stills: Masked = ()


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What carrying did, or would do.

    ``masked`` are frames whose own in-sequence values hide some, ``masked_stills`` those whose own values
    do so in stills only; ``ramps_kept`` parameters that go on ramping where they did, ``ramps_ended`` those
    that are one value from now on; ``settled`` contests that it ends.
    """

    entry: EntryId | None
    frames: int
    operators: tuple[str, ...]
    masked: Masked
    ramps_kept: tuple[str, ...] = ()
    ramps_ended: tuple[str, ...] = ()
    masked_stills: Masked = ()
    settled: tuple[Settled, ...] = ()


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

    ``frames`` are those of them that were asked for; ``others`` counts the further ones that share these very
    versions. ``differences`` has, for each operator in dispute, what each version says, in the versions'
    order. ``line`` is what their line is called now; ``stills_only`` says that sets and movies take one
    version without dispute.
    """

    frames: tuple[str, ...]
    shared: bool
    versions: tuple[Version, ...]
    differences: tuple[tuple[str, tuple[str, ...]], ...]
    others: int = 0
    line: str = "main"
    stills_only: bool = False


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
    """A ramped parameter along a run of frames: its value at each of them, and its anchors.

    ``overridden`` are places in the run, from 0, of frames whose own version decides in sequences instead.
    """

    parameter: str
    unit: str
    rule: str
    scale: str
    anchors: tuple[AnchorLine, ...]
    values: tuple[float | None, ...]
    overridden: tuple[int, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RampSheet:
    """The frames of one run with how bright they are, and every ramp along them.

    ``brightness`` is log2 of mean green light as it was surveyed, 0 all clipped, None where it was not;
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
    brightness: tuple[float | None, ...] = ()

    @property
    def surveyed(self) -> bool:
        """Whether the brightness of any of its frames is known."""
        return any(value is not None for value in self.brightness)


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
    what can be seen side by side, ``any_changed`` the share that differ at all. ``contested`` says that
    one of the two is what stands now, and that more than one version claims to.
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
    contested: bool = False


@dataclass(frozen=True, kw_only=True)
class TakenBack:
    """What taking an entry back did: the new entries, and what stands now, in words.

    ``overruled`` counts the statements that later entries had changed.
    """

    of: EntryId
    entries: tuple[EntryId, ...]
    words: tuple[str, ...]
    overruled: int = 0

    @property
    def exit_code(self) -> Exit:
        return Exit.DONE
