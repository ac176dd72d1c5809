"""The chain of a hash list's generations, and the C4 identifier that seals each of them.

ASC MHL 2.0, ``ascmhl/ascmhl_chain.xml``; C4 is SMPTE ST 2114: the SHA-512 as a number in base 58.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from archive.errors import DamagedFileError, shown
from archive.formats import markup
from archive.formats.folderhash import is_digest

CHAIN_NAME = "ascmhl_chain.xml"
NAMESPACE = "urn:ASC:MHL:DIRECTORY:v2.0"
MAX_CHAIN = 16 * 1024 * 1024

_BASE58 = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"


def c4(data: bytes) -> str:
    """The C4 identifier of ``data``: 90 characters that begin with ``c4``."""
    return c4_of_sha512(hashlib.sha512(data).digest())


def c4_of_sha512(digest: bytes) -> str:
    """The C4 identifier of whatever has this SHA-512."""
    number = int.from_bytes(digest, "big")
    digits = []
    while number:
        number, digit = divmod(number, 58)
        digits.append(_BASE58[digit])
    return "c4" + "".join(reversed(digits)).rjust(88, "1")


@dataclass(frozen=True, kw_only=True)
class ChainEntry:
    """One generation: its number from 1, the manifest's file name, and the C4 of the manifest's bytes."""

    generation: int
    path: str
    c4: str


def chain_bytes(entries: Sequence[ChainEntry]) -> bytes:
    """The chain document for generations 1, 2, 3 … in order.

    Raises
    ------
    ValueError : when numbers are not continuous, a name is no plain file name, or a C4 is none.
    """
    root = ElementTree.Element("ascmhldirectory", {"xmlns": NAMESPACE})
    for expected, entry in enumerate(entries, 1):
        fault = _fault(entry, expected)
        if fault:
            raise ValueError(f"generation {entry.generation} of a hash list chain has {fault}")
        generation = ElementTree.SubElement(root, "hashlist", {"sequencenr": str(entry.generation)})
        ElementTree.SubElement(generation, "path").text = entry.path
        ElementTree.SubElement(generation, "c4").text = entry.c4
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'.encode()


def read_chain(data: bytes, name: str = CHAIN_NAME) -> tuple[ChainEntry, ...]:
    """The generations that a chain document lists, in order.

    Raises
    ------
    DamagedFileError : with every fault of the document and its line.
    """
    root = markup.read(data, name, limit=MAX_CHAIN)
    faults = []
    if root.tag != f"{{{NAMESPACE}}}ascmhldirectory":
        raise DamagedFileError(f"{shown(name)} is no ASC MHL 2.0 chain.", hint=markup.LEFT_ALONE)
    entries = []
    for expected, node in enumerate(root.all("hashlist"), 1):
        path, seal = node.first("path"), node.first("c4")
        number = node.attributes.get("sequencenr", "")
        if path is None or seal is None or not re.fullmatch("[0-9]{1,9}", number):
            faults.append(f"line {node.line} has no sequence number, path or c4")
            continue
        entry = ChainEntry(generation=int(number), path=path.text, c4=seal.text.strip())
        fault = _fault(entry, expected)
        if fault:
            faults.append(f"line {node.line} has {fault}")
        entries.append(entry)
    if faults:
        raise DamagedFileError(
            f"{shown(name)} is damaged: {'; '.join(faults[:20])}.",
            hint="It was left as it is. The files it speaks about were not judged by it.",
        )
    return tuple(entries)


def _fault(entry: ChainEntry, expected: int) -> str | None:
    if entry.generation != expected:
        return f"sequence number {entry.generation} where {expected} was due"
    if markup.path_fault(entry.path) or "/" in entry.path or "\\" in entry.path:
        return f"the path {shown(entry.path)!r}, which is no plain file name"
    if not is_digest("c4", entry.c4):
        return "an impossible c4 identifier"
    return None
