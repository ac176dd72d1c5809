"""What one ingest stands on, and what became of its card."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from archive.model.capture import Camera
from archive.model.entry import Draft
from archive.model.place import ClockCorrection, Site
from archive.model.results import FileNote, RollResult
from archive.store.ports import Grade
from archive.store.volumes import Volume

Progress = Callable[[str, int, int], None]
"""Told the stage in words, what is done, and the whole."""


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What an ingest stands on: volumes to write, and what the archive knows."""

    volumes: Sequence[Volume]
    cameras: Mapping[str, Camera]
    clocks: Callable[[str], list[ClockCorrection]]
    site: Site | None
    held: Mapping[int, set[str]]
    known_rolls: set[str]
    person: str
    tool_version: str
    state: Callable[[Draft], None]
    card: str | None = None
    camera_name: str | None = None
    progress: Progress = field(default=lambda _stage, _done, _total: None)


@dataclass(kw_only=True)
class Outcome:
    """What became of one card, collected on the way."""

    held: list[FileNote] = field(default_factory=list)
    failed: list[FileNote] = field(default_factory=list)
    remarks: list[FileNote] = field(default_factory=list)
    damaged: list[FileNote] = field(default_factory=list)
    ignored: list[FileNote] = field(default_factory=list)
    rolls: list[RollResult] = field(default_factory=list)
    grades: dict[str, Grade] = field(default_factory=dict)
    copied: int = 0
    copied_size: int = 0
    waiting: list[str] = field(default_factory=list)
