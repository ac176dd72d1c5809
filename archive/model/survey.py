"""What was measured from a roll's frames, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.errors import Exit
from archive.model.capture import Frame
from archive.model.identity import EntryId

METHOD = 3
"""How frames are measured now; another number, other figures. FORMATS.md tells how they differ."""
Region = tuple[float, float, float, float]
"""Left, top, right and bottom of a part of a picture, as shares of it."""
CELLS = (12, 8)
"""Cells along the longer and the shorter side of a frame."""


@dataclass(frozen=True, kw_only=True)
class KeptFile:
    """A file of a survey: its path below the roll's survey folder, size, and digest (``xxh128:…``)."""

    path: str
    size: int
    digest: str


@dataclass(frozen=True, kw_only=True)
class Cells:
    """Mean light of ``columns`` × ``rows`` cells by channel, row by row from the top left; 1.0 = clipping."""

    columns: int
    rows: int
    red: tuple[float, ...]
    green: tuple[float, ...]
    blue: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Measures:
    """What one frame's pixels say.

    ``brightness`` is log2 of mean green light, 0 all clipped; ``clipped`` and ``dark`` are shares 0 to 1;
    ``sharpness`` the share of a star's light in its middle sample, None without stars; ``across`` and
    ``down`` tell where edges are, a byte for each column and row; ``likeness`` has 64 hex digits.
    """

    brightness: float
    clipped: float
    dark: float
    sharpness: float | None
    cells: Cells
    across: bytes
    down: bytes
    likeness: str


@dataclass(frozen=True, kw_only=True)
class SurveyedFrame:
    """One frame of a measures document; ``slice_at`` is its column in the document's slices file."""

    frame: str
    path: str
    preview: KeptFile
    preview_from: str
    slices: KeptFile
    slice_at: int
    measures: Measures


@dataclass(frozen=True, kw_only=True)
class SurveyDocument:
    """One measures document."""

    method: int
    roll: str
    size: tuple[int, int]
    slices: KeptFile
    frames: tuple[SurveyedFrame, ...]


@dataclass(frozen=True, kw_only=True)
class SurveyNote:
    """One frame or roll that could not be surveyed, and why."""

    path: str
    text: str


@dataclass(frozen=True, kw_only=True)
class SurveyReport:
    """What a survey did: frames measured now and before, documents brought to other volumes, failures."""

    measured: int
    held: int
    copied: int
    rolls: tuple[str, ...]
    failed: tuple[SurveyNote, ...]

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.failed else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class SurveyLine:
    """One frame's measures with what its settings explain.

    ``scene`` is brightness in stops with exposure taken out (0: all clipped at 1 s, f/1, ISO 100);
    ``green`` the excess over the other two colours and ``red`` what the green light and the sequence's own
    sky do not bring along, scaled alike, in millionths;
    ``moved`` how far edges moved since the frame before, in preview pixels right and down.
    """

    frame: str
    position: int
    name: str
    taken: datetime
    brightness: float
    scene: float
    clipped: float
    dark: float
    sharpness: float | None
    green: float
    red: float
    moved: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something in a sequence that a person should know: what (``kind``), from which frame on, in words."""

    kind: str
    position: int
    text: str


@dataclass(frozen=True, kw_only=True)
class SequenceSurvey:
    """What the survey says of one sequence or night of a camera; ``unseen`` frames are not surveyed yet."""

    name: str
    zone: str | None
    lines: tuple[SurveyLine, ...]
    findings: tuple[Finding, ...]
    unseen: int


@dataclass(frozen=True, kw_only=True)
class Basis:
    """What an answer rests on: the ``frames`` that ``name`` finds, but for some.

    ``unseen`` are not surveyed, of ``unusable`` ones the preview or slice is missing or damaged, and previews
    of ``unlike`` ones have another size than the first.
    """

    name: str
    frames: int
    unseen: int = 0
    unusable: int = 0
    unlike: int = 0

    @property
    def used(self) -> int:
        return self.frames - self.unseen - self.unusable - self.unlike

    @property
    def exit_code(self) -> Exit:
        return Exit.DONE if self.used == self.frames else Exit.ATTENTION


@dataclass(frozen=True, kw_only=True)
class Suggestion:
    """A frame that is worth a still, and why; the strongest first."""

    position: int
    frame: str
    name: str
    taken: datetime
    score: float
    why: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Suggestions:
    """The frames that are worth a still, the strongest first, and what that rests on."""

    found: tuple[Suggestion, ...]
    basis: Basis


@dataclass(frozen=True, kw_only=True)
class DarksFound:
    """Dark frames that fit ``frame``, of the nearest night that has any; in the order they were taken.

    ``unseen`` are frames of the same settings in nights no further away that are not surveyed yet.
    """

    frame: str
    night: str | None
    frames: tuple[Frame, ...]
    unseen: int


@dataclass(frozen=True, kw_only=True)
class Level:
    """What levelling adds to one frame, in stops, and the entry that says so."""

    stops: float
    entry: EntryId


@dataclass(frozen=True, kw_only=True)
class LevellingReport:
    """What levelling found in a sequence, and whether it was stated.

    ``flicker`` is its standard deviation in stops before; ``largest`` the greatest correction; ``jumps``
    the frames (from 1) whose settings differ from the one before; ``cells`` the cells it measured by.
    """

    name: str
    frames: int
    flicker: float
    largest: float
    jumps: tuple[int, ...]
    cells: tuple[int, ...]
    entry: str | None
