"""Under which name a card's file is kept: its own, unless a volume, XML or JSON cannot hold it."""

from __future__ import annotations

import functools
import hashlib
import re
import unicodedata
from collections.abc import Callable

_FORBIDDEN = set('<>:"|?*\\')
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?:\..*)?", re.IGNORECASE)
_OURS = frozenset({"ascmhl"})
LONGEST = 240
"""Bytes of a name that every supported file system takes, with room for a temporary ending."""


@functools.lru_cache(1 << 15)
def escaped_original(path: str) -> str:
    """A card path in plain text, reversible: bytes that are no printable UTF-8, and ``%``, become ``%XX``."""
    out = []
    for char in path:
        if char != "%" and char.isprintable() and not 0xDC80 <= ord(char) <= 0xDCFF:
            out.append(char)
        else:
            out += [f"%{byte:02X}" for byte in char.encode("utf-8", "surrogateescape")]
    return "".join(out)


def stored_name(name: str) -> str:
    """One path component as it is kept; itself where that is possible."""
    needs = {char for char in name if not _keeps(char)}
    if needs:
        name = "".join(_hex(char) if char in needs or char == "%" else char for char in name)
    if name[-1] in ". ":
        name = name[:-1] + _hex(name[-1])
    if name[0] == " " or _RESERVED.fullmatch(name) or name.casefold() in _OURS:
        name = _hex(name[0]) + name[1:]
    return _shortened(name)


def stored_path(path: str, taken: set[str]) -> str:
    """The path a file is kept under; ``taken`` are folded paths in use, and takes the new one in.

    Paths that differ only in case or Unicode form would be one file on some volumes: the later one is
    escaped until it differs. A file and a folder (in ``taken`` with a ``/`` at its end) are told apart too.
    """
    folder = ""
    *folders, last = (stored_name(part) for part in path.split("/"))
    for name in folders:
        folder = _free(folder, name, lambda folded: folded in taken) + "/"
        taken.add(_folded(folder))
    kept = _free(folder, last, lambda folded: folded in taken or f"{folded}/" in taken)
    taken.add(_folded(kept))
    return kept


def _free(folder: str, original: str, in_use: Callable[[str], bool]) -> str:
    """The name in its folder, escaped from its first letter on for as long as that is in use."""
    name, escapes = original, 0
    while in_use(_folded(folder + name)):
        escapes += 1
        name = "".join(_hex(char) for char in original[:escapes]) + original[escapes:]
        if escapes > len(original):
            name = f"%{escapes:02X}{original}"
    return folder + name


def _folded(path: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def _keeps(char: str) -> bool:
    return char.isprintable() and char not in _FORBIDDEN and not 0xD800 <= ord(char) <= 0xDFFF


def _hex(char: str) -> str:
    return "".join(f"%{byte:02X}" for byte in char.encode("utf-8", "surrogateescape"))


def _shortened(name: str) -> str:
    """A name of at most LONGEST bytes; the ending stays, the cut is marked by a digest of the whole."""
    data = name.encode()
    if len(data) <= LONGEST:
        return name
    stem, dot, ending = name.rpartition(".")
    if not dot or len(ending.encode()) > 20:
        stem, ending = name, ""
    mark = f"%{hashlib.sha256(data).hexdigest()[:12]}" + (f".{ending}" if ending else "")
    room = LONGEST - len(mark.encode())
    kept = stem.encode()[:room].decode("utf-8", "ignore")
    return kept + mark
