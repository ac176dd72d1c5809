"""What the long-running commands answer with."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from archive.errors import Exit


@dataclass(frozen=True, kw_only=True)
class FileNote:
    """One file of a card and what there is to say about it; ``path`` may be shown as it is."""

    path: str
    text: str


@dataclass(frozen=True, kw_only=True)
class RollResult:
    """One roll that an ingest made or completed."""

    id: str
    folder: str
    camera: str
    night: str
    files: int
    frames: int
    size: int


@dataclass(frozen=True, kw_only=True)
class TakenFile:
    """One file of a card whose bytes the archive has.

    ``state`` is copied or held, ``kept`` where it lies below ``masters/``, ``volumes`` names those whose
    hash lists hold it.
    """

    path: str
    size: int
    digest: str
    state: str
    kept: str
    volumes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class HistoryCheck:
    """A hash list that a card brought along, held against what was read.

    ``folder`` is where it lies on the card; ``verified`` counts the files that are what it says, ``unlisted``
    those it does not mention; ``faults`` are files that are not, or not there, or what is wrong with itself.
    """

    folder: str
    generations: int
    verified: int
    unlisted: int
    faults: tuple[FileNote, ...]


@dataclass(frozen=True, kw_only=True)
class VolumeResult:
    """One volume that was written, and the weakest grade of its read-backs."""

    name: str
    grade: str


@dataclass(frozen=True, kw_only=True)
class IngestReport:
    """Every file of one card, accounted for.

    ``files`` are those whose bytes the archive has now; ``card`` is what its owner wrote on it; ``started``
    and ``ended`` are in UTC. ``damaged`` are files that were copied as they are, and are not whole on the
    card itself; ``completed`` volumes that were brought files which another one held already.
    """

    source: str
    copied: int
    copied_size: int
    held: tuple[FileNote, ...]
    ignored: tuple[FileNote, ...]
    failed: tuple[FileNote, ...]
    remarks: tuple[FileNote, ...]
    rolls: tuple[RollResult, ...]
    volumes: tuple[VolumeResult, ...]
    sequences: tuple[str, ...] = ()
    waiting: tuple[str, ...] = ()
    damaged: tuple[FileNote, ...] = ()
    histories: tuple[HistoryCheck, ...] = ()
    files: tuple[TakenFile, ...] = ()
    card: str | None = None
    person: str = ""
    started: str = ""
    ended: str = ""
    completed: tuple[FileNote, ...] = ()

    @property
    def exit_code(self) -> Exit:
        astray = any(history.faults for history in self.histories)
        troubled = self.failed or self.waiting or self.damaged or self.empty or astray
        return Exit.ATTENTION if troubled else Exit.DONE

    @property
    def empty(self) -> bool:
        """There was no file on the card that could be copied."""
        return not (self.copied or self.held or self.failed)


@dataclass(frozen=True, kw_only=True)
class ClosingReport:
    """What became of unfinished ingests that were ended without their cards.

    ``begun`` is when they were; ``failed`` are the files that they planned and that lie nowhere, or not on
    every volume. ``waiting`` is what could not be ended.
    """

    begun: tuple[str, ...]
    rolls: tuple[RollResult, ...]
    failed: tuple[FileNote, ...]
    completed: tuple[FileNote, ...]
    waiting: tuple[str, ...]
    volumes: tuple[VolumeResult, ...]

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.failed or self.waiting else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class MadeFile:
    """One file of an export: ``state`` is made, fresh (already there) or failed."""

    path: str
    state: str
    text: str = ""
    frames: int = 1


@dataclass(frozen=True, kw_only=True)
class ExportReport:
    """What an export or a regeneration did."""

    job: str | None
    spec: str
    files: tuple[MadeFile, ...]
    contested: tuple[str, ...] = ()
    lost_frames: tuple[FileNote, ...] = ()

    @property
    def exit_code(self) -> Exit:
        troubled = any(file.state in ("failed", "differs") for file in self.files)
        return Exit.ATTENTION if troubled or self.contested or self.lost_frames else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class StaleLine:
    """One derivative that is not what the present versions would give, and why."""

    path: str
    state: str
    reason: str
    changes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class AuditFinding:
    """One thing an audit found wrong."""

    volume: str
    path: str
    fault: str


@dataclass(frozen=True, kw_only=True)
class AuditReport:
    """What was re-read, and what was found."""

    volumes: tuple[str, ...]
    files: int
    size: int
    entries: int
    derivatives: int
    findings: tuple[AuditFinding, ...]
    grade: str

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.findings else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class RebuildReport:
    """What a rebuild read and found; ``noticed`` is what needs nobody."""

    entries: int
    rolls: int
    frames: int
    sequences: int
    faults: tuple[str, ...]
    noticed: tuple[str, ...] = ()

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.faults else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class ActivityImport:
    """A file of the planetary index that was taken in: where it lies, and what it covers (UTC)."""

    path: str
    intervals: int
    first: datetime
    last: datetime
    highest: float


@dataclass(frozen=True, kw_only=True)
class LineageInput:
    """One frame that a derivative was made from, and the recipe it was developed with."""

    frame: str
    address: str | None
    name: str
    master: str
    versions: tuple[str, ...]
    recipe: tuple[str, ...]
    pixel_key: str


@dataclass(frozen=True, kw_only=True)
class LineageAnswer:
    """Where a file came from, how that was found, how sure it is, and what else came from the same."""

    asked: str
    found_by: str
    certainty: str
    path: str | None
    spec: str | None
    made: str | None
    made_by: str | None
    generation: int | None
    inputs: tuple[LineageInput, ...]
    outputs: tuple[str, ...]
    state: str | None = None
