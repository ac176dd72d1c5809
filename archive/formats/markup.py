"""XML from strangers, read without trusting it; and the few rules for writing it.

No document type, no entity and no external reference is accepted; size, depth and number of
elements are bounded. Every element remembers its line, so that a fault can say where it lies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from archive.errors import DamagedFileError, shown

MAX_BYTES = 256 * 1024 * 1024
MAX_ELEMENTS = 8_000_000
MAX_DEPTH = 32
LEFT_ALONE = "It was left as it is and not used."

_UNWRITABLE = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_DRIVE = re.compile(r"[A-Za-z]:")


class Node:
    """One element: its name with ``{namespace}``, its attributes, text, children and line."""

    __slots__ = ("attributes", "children", "line", "tag", "text")

    def __init__(self, tag: str, attributes: dict[str, str], line: int) -> None:
        self.tag = tag
        self.attributes = attributes
        self.line = line
        self.text = ""
        self.children: list[Node] = []

    @property
    def name(self) -> str:
        """The name without its namespace."""
        return self.tag.rpartition("}")[2]

    def first(self, name: str) -> Node | None:
        """The first child of this local name."""
        return next((child for child in self.children if child.name == name), None)

    def all(self, name: str) -> Iterator[Node]:
        return (child for child in self.children if child.name == name)


class _BoundsError(Exception):
    """The document is deeper or longer than any honest one."""


class _Builder:
    """Receives the parser's events; ``line`` is set by the caller before each of them."""

    def __init__(self) -> None:
        self.parser: DefusedXMLParser | None = None
        self.root: Node | None = None
        self.open: list[Node] = []
        self.count = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        assert self.parser is not None
        self.count += 1
        if self.count > MAX_ELEMENTS or len(self.open) >= MAX_DEPTH:
            raise _BoundsError
        node = Node(tag, attributes, self.parser.parser.CurrentLineNumber)
        if self.open:
            self.open[-1].children.append(node)
        elif self.root is None:
            self.root = node
        self.open.append(node)

    def data(self, text: str) -> None:
        if self.open:
            self.open[-1].text += text

    def end(self, _tag: str) -> None:
        self.open.pop()

    def close(self) -> None:
        return None


def read(data: bytes, name: str, *, limit: int = MAX_BYTES) -> Node:
    """The root element of an XML document.

    Parameters
    ----------
    data : the whole document; more than ``limit`` bytes are refused.
    name : what the document is called, for the message.

    Raises
    ------
    DamagedFileError : when it is no well-formed XML, holds a document type or entities, or is
        larger or deeper than the bounds of this module.
    """
    if len(data) > limit:
        raise DamagedFileError(
            f"{shown(name)} is larger than any document of its kind ({len(data)} bytes).", hint=LEFT_ALONE
        )
    builder = _Builder()
    parser = DefusedXMLParser(target=builder, forbid_dtd=True, forbid_entities=True, forbid_external=True)
    builder.parser = parser
    try:
        parser.feed(data)
        parser.close()
    except ParseError as error:
        raise DamagedFileError(f"{shown(name)} is no readable XML: {error}.", hint=LEFT_ALONE) from error
    except DefusedXmlException as error:
        raise DamagedFileError(
            f"{shown(name)} declares a document type or entities, which no honest one needs.", hint=LEFT_ALONE
        ) from error
    except _BoundsError as error:
        raise DamagedFileError(
            f"{shown(name)} is deeper or longer than any document of its kind.", hint=LEFT_ALONE
        ) from error
    except (ValueError, LookupError) as error:
        raise DamagedFileError(f"{shown(name)} is in no known encoding: {error}.", hint=LEFT_ALONE) from error
    if builder.root is None:
        raise DamagedFileError(f"{shown(name)} is empty.", hint=LEFT_ALONE)
    return builder.root


def writable(text: str) -> bool:
    """Whether XML 1.0 can hold this text and give it back unchanged, without line breaks or tabs."""
    return not _UNWRITABLE.search(text) and not any(char in text for char in "\t\n\r")


def path_fault(path: str) -> str | None:
    """Why a path from a document is not to be followed, in words; None when it stays below its folder."""
    if not path:
        return "an empty path"
    if not writable(path):
        return "a path with control characters"
    if path.startswith(("/", "\\")) or _DRIVE.match(path):
        return "an absolute path"
    parts = re.split(r"[/\\]", path)
    if ".." in parts:
        return "a path that leaves its folder"
    if "" in path.split("/") or "." in path.split("/"):
        return "a path with an empty or '.' part"
    return None
