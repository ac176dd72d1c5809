"""The value of an ingest statement: one roll as it was taken in, to JSON and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from archive.model.capture import CaptureFacts, Role, Roll, RollFile
from archive.model.identity import FrameId


@dataclass(frozen=True, kw_only=True)
class VolumeProof:
    """A volume a roll was written to, and the weakest grade of its read-backs."""

    volume: str
    grade: str


def roll_value(roll: Roll, *, started: str, ended: str, volumes: tuple[VolumeProof, ...]) -> dict[str, Any]:
    """What an ingest entry states about a roll."""
    return {
        "folder": roll.folder,
        "camera": roll.camera,
        "night": roll.night,
        "site": roll.site,
        "card": roll.card,
        "started": started,
        "ended": ended,
        "volumes": [{"volume": proof.volume, "grade": proof.grade} for proof in volumes],
        "files": [_file_json(file) for file in roll.files],
    }


def _file_json(file: RollFile) -> dict[str, Any]:
    document: dict[str, Any] = {
        "path": file.path,
        "size": file.size,
        "digest": file.digest,
        "role": str(file.role),
        "modified": file.modified,
    }
    if file.original is not None:
        document["original"] = file.original
    if file.facts is not None:
        document["facts"] = file.facts.to_json()
    if file.companion_of is not None:
        document["companion_of"] = file.companion_of
    return document


def roll_from_value(roll_id: str, value: Mapping[str, Any]) -> Roll:
    """The roll an ingest entry states.

    Raises
    ------
    KeyError, TypeError, ValueError : when the value is not one that an ingest writes.
    """
    return Roll(
        id=roll_id,
        folder=str(value["folder"]),
        camera=str(value["camera"]),
        night=str(value["night"]),
        site=value["site"],
        card=value["card"],
        files=tuple(
            RollFile(
                path=str(file["path"]),
                size=int(file["size"]),
                digest=FrameId(file["digest"]),
                role=Role(file["role"]),
                modified=str(file["modified"]),
                original=file.get("original"),
                facts=CaptureFacts.from_json(file["facts"]) if "facts" in file else None,
                companion_of=file.get("companion_of"),
            )
            for file in value["files"]
        ),
    )
