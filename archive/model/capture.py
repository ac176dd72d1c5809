"""What comes off a card: files and their roles, capture facts, frames, rolls, sequences, selections."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import Any

from archive.model.identity import FrameId, SelectionId, derived_key


class Role(StrEnum):
    """What a file on a card is."""

    RAW = "raw"
    PICTURE = "picture"
    CLIP = "clip"
    SOUND = "sound"
    SIDECAR = "sidecar"
    HOUSEKEEPING = "housekeeping"
    UNKNOWN = "unknown"
    LITTER = "litter"


@dataclass(frozen=True, kw_only=True)
class CaptureFacts:
    """What a file's own header says about its capture; None where it says nothing usable.

    ``taken`` is the camera's wall clock as ISO 8601 without zone, with as many fraction digits as
    the file gives; ``taken_from`` the field it came from (``original``, ``digitized``, ``changed``,
    ``embedded``); ``offset`` the recorded difference from UTC (``+01:00``); ``gps_utc`` the
    satellite time. Exposure in seconds, focal length in millimetres, ``orientation`` the EXIF value
    1 to 8, width and height in pixels. ``faults`` are sentences about what could not be believed.
    """

    taken: str | None = None
    taken_from: str | None = None
    offset: str | None = None
    gps_utc: str | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    focal_mm: float | None = None
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    lens: str | None = None
    orientation: int | None = None
    width: int | None = None
    height: int | None = None
    faults: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Only what is known, so that a later reader's extra fields stay distinguishable from absence."""
        # Read field by field: a million frames pass here at a rebuild, and asdict copies deeply.
        known = {key: value for key in _FACTS if (value := getattr(self, key)) not in (None, ())}
        if self.faults:
            known["faults"] = list(self.faults)
        return known

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> CaptureFacts:
        known = {key: document[key] for key in _FACTS if key in document}
        if "faults" in known:
            known["faults"] = tuple(known["faults"])
        return CaptureFacts(**known)


_FACTS = tuple(CaptureFacts.__dataclass_fields__)


@dataclass(frozen=True, kw_only=True)
class Camera:
    """One body; ``name`` is what its owner calls it."""

    id: str
    name: str
    make: str
    model: str
    serial: str


@dataclass(frozen=True, kw_only=True)
class RollFile:
    """One file of a roll: where it lies below the roll's folder, and the digest of its bytes."""

    path: str
    size: int
    digest: FrameId
    role: Role
    modified: str
    original: str | None = None
    facts: CaptureFacts | None = None
    companion_of: FrameId | None = None


@dataclass(frozen=True, kw_only=True)
class Roll:
    """What one ingest took from one card of one camera in one night; ``folder`` is below ``masters/``."""

    id: str
    folder: str
    camera: str
    night: str
    site: str | None
    card: str | None
    files: tuple[RollFile, ...]


@dataclass(frozen=True, kw_only=True)
class Frame:
    """One exposure as the catalogue knows it; times in UTC, after clock corrections."""

    id: FrameId
    camera: str
    roll: str
    path: str
    role: Role
    taken: datetime
    time_source: str
    facts: CaptureFacts
    night: str
    sequence: str | None = None
    index: int | None = None

    @property
    def name(self) -> str:
        """The camera's own file name."""
        return self.path.rpartition("/")[2]

    @property
    def settings(self) -> tuple[object, ...]:
        """What a dark frame shares with the frames it is for: camera, exposure, sensitivity, size."""
        facts = self.facts
        return self.camera, facts.exposure_s, facts.iso, facts.width, facts.height


@dataclass(frozen=True, kw_only=True)
class Selection:
    """An immutable ordered list of frames that a decision was made about.

    ``milliseconds`` are the frames' times after the first, as they were known then; ramps are
    evaluated on them, so that a later clock correction changes no picture.
    """

    frames: tuple[FrameId, ...]
    milliseconds: tuple[int, ...]
    id: SelectionId = field(init=False)

    @cached_property
    def moments(self) -> Mapping[str, int]:
        """The milliseconds of each frame."""
        return dict(zip(self.frames, self.milliseconds, strict=True))

    def __post_init__(self) -> None:
        if not self.frames:
            raise ValueError("a selection needs at least one frame")
        if len(self.frames) != len(self.milliseconds):
            raise ValueError("a selection needs one time for each frame")
        if len(set(self.frames)) != len(self.frames):
            raise ValueError("a selection holds each frame once")
        moments = [list(pair) for pair in zip(self.frames, self.milliseconds, strict=True)]
        key = derived_key("selection", moments)
        object.__setattr__(self, "id", SelectionId("selection:" + key))

    def part(self, frames: Collection[str]) -> Selection:
        """The selection of some of its frames, with the times that it has of them; itself, for all of them.

        Raises
        ------
        ValueError : for none of them.
        """
        kept = [(frame, moment) for frame, moment in self.moments.items() if frame in frames]
        if len(kept) == len(self.frames):
            return self
        start = kept[0][1] if kept else 0
        return Selection(
            frames=tuple(FrameId(frame) for frame, _ in kept),
            milliseconds=tuple(moment - start for _, moment in kept),
        )

    def to_json(self) -> dict[str, Any]:
        return {"frames": list(self.frames), "milliseconds": list(self.milliseconds)}

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> Selection:
        return Selection(
            frames=tuple(FrameId(frame) for frame in document["frames"]),
            milliseconds=tuple(int(value) for value in document["milliseconds"]),
        )
