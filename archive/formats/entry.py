"""Journal entries as bytes: canonical JSON, named by counter, time, kind and their own digest."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from typing_extensions import TypedDict

from archive.errors import DamagedFileError, shown
from archive.formats.documents import faults_of, fitted, typed, written
from archive.model.entry import Change, Entry
from archive.model.identity import EntryId, sha256_id

TYPE = "noctuary-entry"
FORMAT = 1

NAME = re.compile(
    r"(?P<counter>\d{10})-(?P<time>\d{8}T\d{6}Z)-(?P<kind>[a-z]+(?:-[a-z]+)*)-(?P<id>[0-9a-f]{16})\.json",
    re.ASCII,
)

_KEYS = {"type", "format", "kind", "counter", "time", "writer", "previous", "person", "changes", "essential"}


_Word = Annotated[str, Field(pattern=r"^[a-z]+(-[a-z]+)*$", max_length=40)]
_Id = Annotated[str, Field(pattern=r"^sha256:[0-9a-f]{64}$")]
_Subject = Annotated[str, Field(pattern=r"^[^\x00]+$", max_length=120)]


# Dictionaries rather than models: of a large journal, making objects twice would be a third of its reading.
_ANYTHING_MORE = ConfigDict(extra="allow", strict=True)


class _About(TypedDict):
    """What a change says in every format: whom it is about."""

    __pydantic_config__ = _ANYTHING_MORE  # type: ignore[misc]
    subjects: Annotated[list[_Subject], Field(min_length=1)]


class _Change(_About):
    layer: _Word
    line: Annotated[str, Field(pattern=r"^[^\x00]*$", max_length=200)]
    builds_on: list[_Id]
    value: Any


class _Heading(TypedDict):
    """What every format of entries keeps, so that chains stay whole and essential entries are obeyed."""

    __pydantic_config__ = _ANYTHING_MORE  # type: ignore[misc]
    type: str
    format: int
    kind: _Word
    counter: Annotated[int, Field(ge=1, le=9_999_999_999)]
    time: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")]
    writer: Annotated[str, Field(pattern=r"^[^\x00]+$", max_length=64)]
    previous: _Id | None
    person: Annotated[str, Field(pattern=r"^[^\x00]*$", max_length=200)]
    essential: bool


class _NewerEntry(_Heading):
    changes: Annotated[list[_About], Field(min_length=1)]


class _Entry(_Heading):
    changes: Annotated[list[_Change], Field(min_length=1)]


_ENTRY: TypeAdapter[Any] = TypeAdapter(_Entry)
_NEWER_ENTRY: TypeAdapter[Any] = TypeAdapter(_NewerEntry)


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
    """A new entry and the bytes that it is.

    Raises
    ------
    ValueError : when no reader would take it: a text that is too long, a number that JSON cannot hold.
    """
    document = {
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
    data = written(document)
    try:
        _ENTRY.validate_python(document)
    except ValidationError as error:
        raise ValueError(faults_of(error)) from error
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

    Of an entry in a newer format this gives what every format keeps: its changes name their subjects and
    nothing else, and it is marked ``newer``.

    Raises
    ------
    DamagedFileError : when the bytes are not those the name was given to, or hold no entry.
    """
    match = NAME.fullmatch(name)
    if match is None:
        raise DamagedFileError(
            f"{shown(name)} is not named like a journal entry.", hint="It was left as it is and not read."
        )
    entry_id = EntryId(sha256_id(data))
    if not entry_id.startswith("sha256:" + match["id"]):
        raise DamagedFileError(
            f"The journal entry {shown(name)} {_damage(data)}: its bytes do not match its name.",
            hint="It was left as it is and set aside; every other entry still counts. "
            "Take a sound copy from another volume.",
        )
    document = typed(data, name, kind=TYPE)
    newer = document["format"] > FORMAT
    adapter = _NEWER_ENTRY if newer else _ENTRY
    held = fitted(adapter.validate_python, document, data, name, kind=TYPE, exact=True)
    right = entry_name(held["counter"], held["time"], held["kind"], entry_id)
    if name != right:
        raise DamagedFileError(
            f"The journal entry {shown(name)} was renamed: its bytes say another counter, time or kind.",
            hint=f"It was left as it is and set aside. Give it back the name it had: {right}.",
        )
    return Entry(
        id=entry_id,
        name=name,
        kind=held["kind"],
        counter=held["counter"],
        time=held["time"],
        writer=held["writer"],
        previous=held["previous"],
        person=held["person"],
        essential=held["essential"],
        changes=tuple(map(_about if newer else _change, held["changes"])),
        newer=newer,
        extra={} if len(held) == len(_KEYS) else {key: held[key] for key in held.keys() - _KEYS},
    )


def _about(change: dict[str, Any]) -> Change:
    return Change(subjects=tuple(change["subjects"]), layer="", value=None)


def _change(change: dict[str, Any]) -> Change:
    return Change(
        subjects=tuple(change["subjects"]),
        layer=change["layer"],
        line=change["line"],
        builds_on=tuple(change["builds_on"]),
        value=change["value"],
    )


def _damage(data: bytes) -> str:
    """How bytes that are no longer an entry's own look."""
    if not data:
        return "is empty"
    if data.startswith(b"{") and not data.rstrip().endswith(b"}"):
        return "is cut short"
    return "is damaged"
