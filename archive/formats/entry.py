"""Journal entries as bytes: canonical JSON, named by counter, time, kind and their own digest."""

from __future__ import annotations

import re
from typing import Any

from pydantic import Field

from archive.errors import DamagedFileError, shown
from archive.formats.documents import Document, Part, checked, written
from archive.model.entry import Change, Entry
from archive.model.identity import EntryId, sha256_id

TYPE = "noctuary-entry"
FORMAT = 1

NAME = re.compile(
    r"(?P<counter>\d{10})-(?P<time>\d{8}T\d{6}Z)-(?P<kind>[a-z]+(?:-[a-z]+)*)-(?P<id>[0-9a-f]{16})\.json",
    re.ASCII,
)

_KEYS = {"type", "format", "kind", "counter", "time", "writer", "previous", "person", "changes", "essential"}


class _Change(Part):
    subjects: list[str] = Field(min_length=1)
    layer: str
    line: str
    builds_on: list[str]
    value: Any


class _Entry(Document):
    kind: str = Field(pattern=r"^[a-z]+(-[a-z]+)*$")
    counter: int = Field(ge=1, le=9_999_999_999)
    time: str = Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")
    writer: str = Field(min_length=1)
    previous: str | None
    person: str
    essential: bool
    changes: list[_Change] = Field(min_length=1)


def entry_name(counter: int, time: str, kind: str, entry_id: str) -> str:
    """The file name of an entry; its month folder is for people and means nothing."""
    stamp = time.replace("-", "").replace(":", "")
    return f"{counter:010d}-{stamp}-{kind}-{entry_id.removeprefix('sha256:')[:16]}.json"


def encode(
    *,
    kind: str,
    counter: int,
    time: str,
    writer: str,
    previous: EntryId | None,
    person: str,
    changes: tuple[Change, ...],
    essential: bool = False,
) -> tuple[Entry, bytes]:
    """A new entry and the bytes that it is."""
    data = written(
        {
            "type": TYPE,
            "format": FORMAT,
            "kind": kind,
            "counter": counter,
            "time": time,
            "writer": writer,
            "previous": previous,
            "person": person,
            "essential": essential,
            "changes": [
                {
                    "subjects": list(change.subjects),
                    "layer": change.layer,
                    "line": change.line,
                    "builds_on": list(change.builds_on),
                    "value": change.value,
                }
                for change in changes
            ],
        }
    )
    entry_id = EntryId(sha256_id(data))
    entry = Entry(
        id=entry_id,
        name=entry_name(counter, time, kind, entry_id),
        kind=kind,
        counter=counter,
        time=time,
        writer=writer,
        previous=previous,
        person=person,
        changes=changes,
        essential=essential,
    )
    return entry, data


def decode(data: bytes, name: str) -> Entry:
    """The entry in ``data``, checked against the file name it was found under.

    Raises
    ------
    DamagedFileError : when the bytes are not those the name was given to, or hold no entry.
    ArchiveError : when a newer release wrote it.
    """
    match = NAME.fullmatch(name)
    if match is None:
        raise DamagedFileError(
            f"{shown(name)} is not named like a journal entry.", hint="It was left as it is and not read."
        )
    entry_id = EntryId(sha256_id(data))
    if not entry_id.startswith("sha256:" + match["id"]):
        raise DamagedFileError(
            f"The journal entry {shown(name)} is damaged: its bytes do not match its name.",
            hint="It was left as it is and set aside; every other entry still counts. "
            "Take a sound copy from another volume.",
        )
    document = checked(_Entry, data, name, kind=TYPE, reads=FORMAT, exact=True)
    if name != entry_name(document.counter, document.time, document.kind, entry_id):
        raise DamagedFileError(
            f"The journal entry {shown(name)} was renamed: its bytes say another counter, time or kind.",
            hint="It was left as it is and set aside.",
        )
    return Entry(
        id=entry_id,
        name=name,
        kind=document.kind,
        counter=document.counter,
        time=document.time,
        writer=document.writer,
        previous=EntryId(document.previous) if document.previous else None,
        person=document.person,
        essential=document.essential,
        changes=tuple(
            Change(
                subjects=tuple(change.subjects),
                layer=change.layer,
                line=change.line,
                builds_on=tuple(EntryId(i) for i in change.builds_on),
                value=change.value,
            )
            for change in document.changes
        ),
        extra={key: value for key, value in (document.model_extra or {}).items() if key not in _KEYS},
    )
