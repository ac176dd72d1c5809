"""A card that brings its own ASC MHL history: every digest listed there, held against what was read.

A card that was filled from another one, or that a studio handed over, says what its files were. Nothing of
the history is trusted: it is read like any document from a stranger, and only compared.
"""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import xxhash

from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats.hashchain import c4, c4_of_sha512, read_chain
from archive.formats.hashlist import Manifest, read_manifest
from archive.ingest import opening
from archive.ingest.card import Card
from archive.model.identity import FrameId
from archive.model.results import FileNote, HistoryCheck
from archive.store.digest import Digester, blocks

CHAIN = "ascmhl/ascmhl_chain.xml"
_LARGEST_CHAIN = 1 << 24
_LARGEST_LIST = 1 << 28
_DIGESTS: dict[str, Callable[[], Any]] = {
    "c4": hashlib.sha512,
    "md5": lambda: hashlib.md5(usedforsecurity=False),
    "sha1": lambda: hashlib.sha1(usedforsecurity=False),
    "xxh3": xxhash.xxh3_64,
    "xxh64": xxhash.xxh64,
}
_MISSING = "is in the card's hash list and not on the card"


@dataclass(frozen=True, kw_only=True)
class _Listed:
    """What a history says of one file now: a digest and its format."""

    format: str
    digest: str


def check_histories(card: Card, read: Mapping[str, FrameId]) -> tuple[HistoryCheck, ...]:
    """Every history on a card, and what comes of holding it against the digests that were read.

    Parameters
    ----------
    read : the digest of each file by its path on the card, as it was read for copying or comparing.
    """
    roots = [file.path.removesuffix(CHAIN) for file in card.files if _is_chain(file.path)]
    return tuple(_check(card, root, roots, read) for root in sorted(roots))


def _is_chain(path: str) -> bool:
    return path == CHAIN or path.endswith(f"/{CHAIN}")


def _check(card: Card, root: str, roots: list[str], read: Mapping[str, FrameId]) -> HistoryCheck:
    faults: list[FileNote] = []
    listed: dict[str, _Listed] = {}
    generations = 0
    try:
        for manifest in _manifests(card.source / root / "ascmhl"):
            generations += 1
            _fold(manifest, listed)
    except (ArchiveError, OSError) as error:
        text = error.message if isinstance(error, ArchiveError) else f"cannot be read: {error.strerror}"
        faults.append(FileNote(path=shown(root + CHAIN), text=text))
        # Half a history would call files wrong that a later generation explains.
        listed.clear()
    here = {file.path for file in card.files if _within(file.path, root, roots)}
    plain = {unicodedata.normalize("NFC", path): path for path in here}
    known = {note.path for note in (*card.ignored, *card.failed)}
    verified = 0
    seen = set()
    for path, told in sorted(listed.items()):
        own = root + path
        found = own if own in here else plain.get(unicodedata.normalize("NFC", own))
        if found is None:
            if shown(own) not in known:
                faults.append(FileNote(path=shown(own), text=_MISSING))
            continue
        seen.add(found)
        fault = _compare(card.source / found, told, read.get(found))
        if fault:
            faults.append(FileNote(path=shown(found), text=fault))
        else:
            verified += 1
    unlisted = len(here - seen) if listed else 0
    return HistoryCheck(
        folder=shown(root.rstrip("/")) or ".",
        generations=generations,
        verified=verified,
        unlisted=unlisted,
        faults=tuple(faults),
    )


def _within(path: str, root: str, roots: list[str]) -> bool:
    """Whether a file is a matter of this history: below it, below no nearer one, and none of its own."""
    if not path.startswith(root) or path.startswith(f"{root}ascmhl/"):
        return False
    return not any(other != root and other.startswith(root) and path.startswith(other) for other in roots)


def _manifests(folder: Path) -> Iterator[Manifest]:
    """The generations that the chain seals, in order.

    Raises
    ------
    DamagedFileError : when one is missing, edited or unreadable, naming it.
    """
    for link in read_chain(_bytes(folder / "ascmhl_chain.xml", _LARGEST_CHAIN)):
        try:
            data = _bytes(folder / link.path, _LARGEST_LIST)
        except FileNotFoundError:
            raise DamagedFileError(f"the hash list {shown(link.path)} is missing") from None
        if c4(data) != link.c4:
            raise DamagedFileError(f"the hash list {shown(link.path)} was changed after it was written")
        yield read_manifest(data, link.path)


def _bytes(path: Path, limit: int) -> bytes:
    if path.is_symlink():
        raise DamagedFileError(f"{shown(path.name)} is a link, which is not followed")
    with opening.open_plain(path, buffered=True) as stream:
        data = stream.read(limit + 1)
    if len(data) > limit:
        raise DamagedFileError(f"{shown(path.name)} is larger than any honest hash list")
    return data


def _fold(manifest: Manifest, listed: dict[str, _Listed]) -> None:
    """One generation laid over those before it; digests that failed then vouch for nothing."""
    for previous, _ in manifest.moved:
        listed.pop(previous, None)
    for other in manifest.others:
        if other.action != "failed":
            listed[other.path] = _Listed(format=other.format, digest=other.digest)
    for file in manifest.files:
        if file.action != "failed":
            listed[file.path] = _Listed(format="xxh128", digest=file.xxh128)


def _compare(path: Path, told: _Listed, read: FrameId | None) -> str | None:
    """What is wrong with a file by its history; None when it is what the history says."""
    if read is None:
        return "could not be compared with the card's hash list: it was not read"
    if told.format == "xxh128":
        same = read == f"xxh128:{told.digest}"
    else:
        try:
            digest, again = _digest(path, told.format)
        except OSError as error:
            return f"could not be compared with the card's hash list: {error.strerror}"
        if again != read:
            return "two readings of it differ"
        same = digest == (told.digest if told.format == "c4" else told.digest.lower())
    return None if same else f"is not what the card's own hash list says ({told.format}); taken in as it is"


def _digest(path: Path, kind: str) -> tuple[str, FrameId]:
    """A file's digest in another format, and its own, from one reading."""
    asked, own = _DIGESTS[kind](), Digester()
    with opening.open_plain(path) as stream:
        for block in blocks(stream):
            asked.update(block)
            own.update(block)
    return c4_of_sha512(asked.digest()) if kind == "c4" else asked.hexdigest(), own.id
