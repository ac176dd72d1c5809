"""volume.json: which archive a folder belongs to, and which of its volumes it is."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import Field

from archive.formats.documents import Document, checked, written

TYPE = "noctuary-volume"
FORMAT = 1
NAME = "volume.json"


@dataclass(frozen=True, kw_only=True)
class VolumeMark:
    """The identity of one volume; ``name`` is what its owner calls it at its making."""

    archive: str
    volume: str
    name: str
    created: str


class _Volume(Document):
    archive: str = Field(pattern=r"^[0-9a-f]{32}$")
    volume: str = Field(pattern=r"^[0-9a-f]{32}$")
    name: str = Field(min_length=1, max_length=100)
    created: str


def encode(mark: VolumeMark) -> bytes:
    return written(
        {
            "type": TYPE,
            "format": FORMAT,
            "archive": mark.archive,
            "volume": mark.volume,
            "name": mark.name,
            "created": mark.created,
        }
    )


def decode(data: bytes, name: str = NAME) -> VolumeMark:
    """The mark in ``data``.

    Raises
    ------
    DamagedFileError, ArchiveError : see :func:`archive.formats.documents.checked`.
    """
    document = checked(_Volume, data, name, kind=TYPE, reads=FORMAT)
    return VolumeMark(
        archive=document.archive, volume=document.volume, name=document.name, created=document.created
    )
