"""The file entries of a hash list in the very form that this archive writes, read at speed.

A general XML reader spends most of its time on the entries of files, which all look alike. Where they stand
one after another in exactly the form written here, they are lifted out as text, and the reader gets the
document with one element of an unguessable name in their place. It must find that element where entries
belong: then the text stood in no comment, no attribute and no other element, and means what it seems to.
Anything else, and anything doubtful, is left to the general reader as a whole.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TypeVar

from archive.formats import markup
from archive.formats.markup import Node

NAMESPACE = "urn:ASC:MHL:v2.0"
HEAD = f'<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="2.0" xmlns="{NAMESPACE}">\n'
_OPEN = "\n  <hashes>\n"
_ENTRY = re.compile(
    r'    <hash>\n      <path size="([0-9]{1,18})" lastmodificationdate="([0-9T:+.-]{19,40})">'
    r"([^<>\\\x00-\x1f\x7f-\x9f]+)</path>\n"
    r'      <xxh128 action="(original|verified|failed)" hashdate="([0-9T:+.-]{19,40})">'
    r"([0-9a-f]{32})</xxh128>\n"
    r"    </hash>\n"
)
_BEHIND = ("    <directoryhash>\n", "  </hashes>\n")
_DOUBTFUL = re.compile(r"^[/.]|/[/.]|/$|^[A-Za-z]:")
_LARGEST = markup.MAX_ELEMENTS // 3

File = TypeVar("File")
Entry = tuple[str, str, str, str, str, str]
"""Size, time of the last change, path, action, time of hashing, digest: the texts as they stand."""


@dataclass(frozen=True, kw_only=True)
class Lifted:
    """Entries lifted out of a document, what is left of it, and the element that stands in their place."""

    entries: list[Entry]
    rest: bytes
    mark: str

    def belongs_in(self, root: Node) -> bool:
        """Whether the mark was found where entries belong, and only there."""
        marked = [
            child for hashes in root.all("hashes") for child in hashes.children if child.tag == self._tag
        ]
        return len(marked) == 1

    @property
    def _tag(self) -> str:
        return f"{{{NAMESPACE}}}{self.mark}"

    def files(self, make: Callable[..., File]) -> list[File]:
        """The entries as ``make`` makes them of path, size, modified, xxh128, action and hashed.

        Raises
        ------
        ValueError : for a time that is none, or says no zone.
        """
        times = {text: _moment(text) for entry in self.entries for text in (entry[1], entry[4])}
        return [
            make(
                path=path,
                size=int(size),
                modified=times[modified],
                xxh128=digest,
                action=action,
                hashed=times[hashed],
            )
            for size, modified, path, action, hashed, digest in self.entries
        ]


def lift(data: bytes) -> Lifted | None:
    """The plain entries of a hash list; None where they are not all in the form written here."""
    if len(data) > markup.MAX_BYTES or not data.startswith(HEAD.encode()):
        return None
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return None
    start = text.find(_OPEN)
    if start < 0:
        return None
    start += len(_OPEN)
    entries: list[Entry] = []
    end = start
    for found in _ENTRY.finditer(text, start):
        if found.start() != end:
            break
        end = found.end()
        entries.append(found.groups())  # type: ignore[arg-type]
    if not entries or len(entries) > _LARGEST or not text.startswith(_BEHIND, end):
        return None
    if any("&" in entry[2] for entry in entries):
        entries = [(*entry[:2], _unescaped(entry[2]), *entry[3:]) for entry in entries]
    paths = [entry[2] for entry in entries]
    if len(set(paths)) != len(paths) or any(map(_odd, paths)):
        return None
    mark = f"m{secrets.token_hex(16)}"
    rest = f"{text[:start]}    <{mark}/>\n{text[end:]}"
    return Lifted(entries=entries, rest=rest.encode(), mark=mark)


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"the time {text} is without zone")
    return moment.astimezone(UTC)


def _unescaped(text: str) -> str:
    """A text with its three plain references replaced; one with any other becomes a path that is odd."""
    bare = text.replace("&lt;", "").replace("&gt;", "").replace("&amp;", "")
    if "&" in bare:
        return "."
    return text.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")


def _odd(path: str) -> bool:
    """Whether a path is not to be followed; asked at length only of those that do not look plain."""
    plain = path.isascii() and _DOUBTFUL.search(path) is None
    return not plain and markup.path_fault(path) is not None
