"""What one ingest stands on, and what became of its card."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from archive.errors import ArchiveError, shown
from archive.ingest.transfer import Engine
from archive.model.capture import Camera
from archive.model.entry import Draft
from archive.model.place import ClockCorrection, Site
from archive.model.results import FileNote, HistoryCheck, RollResult, TakenFile
from archive.store.ports import Grade
from archive.store.volumes import Volume

Progress = Callable[[str, int, int], None]
"""Told the stage in words, what is done, and the whole."""


def stamp() -> str:
    """This second, as entries and records write it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00")


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A file as a roll states it: digest, size in bytes, time of its last change in ISO 8601."""

    digest: str
    size: int
    modified: str


def _nothing_stated(_roll: str) -> Mapping[str, Listed]:
    return {}


def _no_copies(_digest: str) -> Sequence[tuple[str, str]]:
    return ()


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What an ingest stands on: volumes to write, and what the archive knows.

    Parameters
    ----------
    volumes : those that are written; one that ``leave`` was told of is in it no more.
    held : digests that some volume holds, by size in bytes.
    copies : (volume id, path below ``masters/``) of every listed copy of a digest.
    known_rolls, files_of : ids of the rolls that the journal states, and their files by path below the roll.
    state : writes an entry; durable when it returns.
    leave : takes a volume that failed out of everything that is written from now on.
    lost : the volumes that were left, by id, and why; grows while cards are taken in.
    stamp : the time now.
    in_flight : ids of unfinished ingests that other cards of the same run are at.
    """

    volumes: Sequence[Volume]
    cameras: Mapping[str, Camera]
    clocks: Callable[[str], list[ClockCorrection]]
    site: Site | None
    held: Mapping[int, set[str]]
    known_rolls: set[str]
    person: str
    tool_version: str
    state: Callable[[Draft], None]
    leave: Callable[[Volume, ArchiveError], None] = field(default=lambda _volume, _error: None)
    lost: Mapping[str, ArchiveError] = field(default_factory=dict)
    copies: Callable[[str], Sequence[tuple[str, str]]] = _no_copies
    files_of: Callable[[str], Mapping[str, Listed]] = _nothing_stated
    volume_name: Callable[[str], str] = field(default=lambda volume: volume[:8])
    card: str | None = None
    camera_name: str | None = None
    progress: Progress = field(default=lambda _stage, _done, _total: None)
    engine: Engine = field(default_factory=Engine)
    in_flight: frozenset[str] = frozenset()
    stamp: Callable[[], str] = stamp


@dataclass(kw_only=True)
class Outcome:
    """What became of one card, collected on the way.

    ``completed`` are volumes by name that were brought files which another volume held already.
    """

    held: list[FileNote] = field(default_factory=list)
    failed: list[FileNote] = field(default_factory=list)
    remarks: list[FileNote] = field(default_factory=list)
    damaged: list[FileNote] = field(default_factory=list)
    ignored: list[FileNote] = field(default_factory=list)
    completed: list[FileNote] = field(default_factory=list)
    rolls: list[RollResult] = field(default_factory=list)
    grades: dict[str, Grade] = field(default_factory=dict)
    copied: int = 0
    copied_size: int = 0
    waiting: list[str] = field(default_factory=list)
    taken: list[TakenFile] = field(default_factory=list)
    histories: tuple[HistoryCheck, ...] = ()

    def left_out(self, volume: Volume, error: ArchiveError, verified: int, files: int) -> None:
        """Note that a volume failed and the others went on."""
        self.waiting.append(
            f"{shown(volume.name)} was left out: {error.message} {verified} of {files} files were verified "
            "there; run the same command again with it and this card, and it is completed"
        )
