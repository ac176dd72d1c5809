"""What lies in incoming/ of an unfinished ingest.

``*.json`` say where each of its files goes, decided before the first byte; ``*.proven`` which of them were
proven since, and by which digest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import Field

from archive.formats.documents import Document, Part, checked, written
from archive.model.capture import CaptureFacts, Role
from archive.model.identity import FrameId

TYPE = "noctuary-incoming"
PROVEN_TYPE = "noctuary-proven"
FORMAT = 1


@dataclass(frozen=True, kw_only=True)
class Placement:
    """One file to come: its path on the card, and below its roll's folder.

    ``source`` is the card path with every byte that is not plain text percent-escaped; ``modified``
    the card's own time for it (UTC, seconds and nanoseconds as an integer count of nanoseconds).
    """

    source: str
    path: str
    size: int
    modified_ns: int
    role: Role
    facts: CaptureFacts | None
    companion_of: str | None


@dataclass(frozen=True, kw_only=True)
class PlannedRoll:
    """One roll to be; ``site`` is the site's id, ``card`` what the owner wrote on the card."""

    id: str
    folder: str
    camera: str
    night: str
    site: str | None
    card: str | None
    files: tuple[Placement, ...]


@dataclass(frozen=True, kw_only=True)
class Incoming:
    """One unfinished ingest; ``volumes`` the ids of those it writes, each of which holds this document."""

    id: str
    started: str
    person: str
    rolls: tuple[PlannedRoll, ...]
    volumes: tuple[str, ...] = ()


class _Placement(Part):
    source: str
    path: str
    size: int = Field(ge=0)
    modified_ns: str = Field(pattern=r"^-?[0-9]{1,20}$")
    role: str = Field(pattern=f"^({'|'.join(Role)})$")
    facts: dict[str, Any] | None
    companion_of: str | None


class _Roll(Part):
    id: str
    folder: str
    camera: str
    night: str
    site: str | None
    card: str | None
    files: list[_Placement]


class _Incoming(Document):
    id: str
    started: str
    person: str
    rolls: list[_Roll]
    # Documents of release 0.1 lie on the first volume alone and do not say.
    volumes: list[str] = Field(default_factory=list)


class _Proven(Document):
    ingest: str
    digests: dict[str, str]


def encode_proven(ingest: str, digests: Mapping[str, FrameId]) -> bytes:
    """What was proven of an unfinished ingest: digests by path below ``masters/``."""
    return written(
        {"type": PROVEN_TYPE, "format": FORMAT, "ingest": ingest, "digests": dict(sorted(digests.items()))}
    )


def decode_proven(data: bytes, name: str) -> tuple[str, dict[str, FrameId]]:
    """The id of an unfinished ingest, and digests by path below ``masters/``.

    Raises
    ------
    DamagedFileError, ArchiveError : see :func:`archive.formats.documents.checked`.
    """
    document = checked(_Proven, data, name, kind=PROVEN_TYPE, reads=FORMAT)
    return document.ingest, {path: FrameId(digest) for path, digest in document.digests.items()}


def encode(incoming: Incoming) -> bytes:
    return written(
        {
            "type": TYPE,
            "format": FORMAT,
            "id": incoming.id,
            "started": incoming.started,
            "person": incoming.person,
            "volumes": list(incoming.volumes),
            "rolls": [
                {
                    "id": roll.id,
                    "folder": roll.folder,
                    "camera": roll.camera,
                    "night": roll.night,
                    "site": roll.site,
                    "card": roll.card,
                    "files": [
                        {
                            "source": file.source,
                            "path": file.path,
                            "size": file.size,
                            # Nanoseconds since 1970 outgrow the integers that JSON readers keep exactly.
                            "modified_ns": str(file.modified_ns),
                            "role": str(file.role),
                            "facts": file.facts.to_json() if file.facts else None,
                            "companion_of": file.companion_of,
                        }
                        for file in roll.files
                    ],
                }
                for roll in incoming.rolls
            ],
        }
    )


def decode(data: bytes, name: str) -> Incoming:
    """The unfinished ingest in ``data``.

    Raises
    ------
    DamagedFileError, ArchiveError : see :func:`archive.formats.documents.checked`.
    """
    document = checked(_Incoming, data, name, kind=TYPE, reads=FORMAT)
    return Incoming(
        id=document.id,
        started=document.started,
        person=document.person,
        volumes=tuple(document.volumes),
        rolls=tuple(
            PlannedRoll(
                id=roll.id,
                folder=roll.folder,
                camera=roll.camera,
                night=roll.night,
                site=roll.site,
                card=roll.card,
                files=tuple(
                    Placement(
                        source=file.source,
                        path=file.path,
                        size=file.size,
                        modified_ns=int(file.modified_ns),
                        role=Role(file.role),
                        facts=CaptureFacts.from_json(file.facts) if file.facts else None,
                        companion_of=file.companion_of,
                    )
                    for file in roll.files
                ),
            )
            for roll in document.rolls
        ),
    )
