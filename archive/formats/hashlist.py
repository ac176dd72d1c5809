"""Hash lists: one generation of an ASC MHL 2.0 history, bytes to values and back.

A manifest is immutable once written. Digests are XXH3-128 with seed 0 in canonical form; folders
carry the standard's content and structure hashes. Whatever is read is untrusted: a path that would
leave its folder, a digest that is none, or the same path twice makes the whole manifest a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal
from xml.etree import ElementTree

from archive.errors import DamagedFileError, shown
from archive.formats import markup
from archive.formats.folderhash import FORMATS, folder_hashes, is_digest
from archive.formats.markup import Node
from archive.formats.plainlist import NAMESPACE, Lifted, lift

TOOL = "noctuary"
IGNORED = (".DS_Store", "ascmhl", "ascmhl/")
MAX_FAULTS = 20

Process = Literal["transfer", "in-place", "flatten"]

_ACTIONS = frozenset(("original", "verified", "failed"))
_NAME = re.compile(r"([0-9]{4,9})(?:_.+)?\.mhl", re.DOTALL)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class HashedFile:
    """A file as one generation saw it.

    ``path`` below the roll's folder, with forward slashes; ``size`` in bytes; ``modified`` and
    ``hashed`` in UTC; ``xxh128`` 32 hexadecimal digits; ``action`` ``original`` (first seen),
    ``verified`` or ``failed``.
    """

    path: str
    size: int
    modified: datetime
    xxh128: str
    action: str = "original"
    hashed: datetime


@dataclass(frozen=True, kw_only=True)
class OtherHash:
    """A file's digest in a format that this archive does not write: from another tool's manifest."""

    path: str
    size: int | None
    format: str
    digest: str
    action: str


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """One generation, read.

    ``files`` have an XXH3-128; ``others`` only other digests. ``folders`` holds (content,
    structure) by path, ``''`` for the root. ``moved`` are pairs of previous and present path,
    ``references`` pairs of a nested history's manifest and its C4.
    """

    created: datetime
    hostname: str
    tool: str
    tool_version: str
    process: str
    author: str | None
    comment: str | None
    files: tuple[HashedFile, ...]
    others: tuple[OtherHash, ...]
    folders: dict[str, tuple[str, str]]
    ignored: tuple[str, ...]
    moved: tuple[tuple[str, str], ...]
    references: tuple[tuple[str, str], ...]


def manifest_name(generation: int, folder: str, started: datetime) -> str:
    """The file name of a generation: its number, the roll's folder, the start of the operation in UTC."""
    return f"{generation:04d}_{folder}_{started.astimezone(UTC):%Y-%m-%d_%H%M%SZ}.mhl"


def generation_of(name: str) -> int | None:
    """The number in a manifest's file name; None for other files."""
    match = _NAME.fullmatch(name)
    return int(match[1]) if match else None


def directory_hashes(
    files: Iterable[HashedFile], empty_folders: Iterable[str] = ()
) -> dict[str, tuple[str, str]]:
    """The content and structure hash of every folder, ``''`` being the root."""
    return folder_hashes({file.path: file.xxh128 for file in files}, empty_folders)


def manifest_bytes(
    files: Sequence[HashedFile],
    *,
    created: datetime,
    hostname: str,
    tool_version: str,
    process: Process,
    author: str | None = None,
    comment: str | None = None,
    empty_folders: Sequence[str] = (),
    held: Iterable[HashedFile] = (),
) -> bytes:
    """One generation's document; the same values always give the same bytes.

    Parameters
    ----------
    files : what this generation saw; at least one, written in the order of their paths.
    created : start of the operation.
    process : ``transfer`` says that source and destination were compared.
    held : files of earlier generations that still lie there: folder hashes speak of the whole roll.

    Raises
    ------
    ValueError : when there is nothing to write, or a value that the format cannot hold.
    """
    files = sorted(files, key=lambda file: file.path)
    _check(files, empty_folders)
    root = ElementTree.Element("hashlist", {"version": "2.0", "xmlns": NAMESPACE})
    creator = ElementTree.SubElement(root, "creatorinfo")
    _put(creator, "creationdate", _time(created))
    _put(creator, "hostname", hostname)
    _put(creator, "tool", TOOL, version=tool_version)
    if author:
        _put(creator, "author", author)
    if comment:
        _put(creator, "comment", comment)
    whole = {file.path: file for file in held} | {file.path: file for file in files}
    folders = directory_hashes(whole.values(), empty_folders)
    info = ElementTree.SubElement(root, "processinfo")
    _put(info, "process", process)
    _put_folder(ElementTree.SubElement(info, "roothash"), folders.pop(""))
    ignore = ElementTree.SubElement(info, "ignore")
    for pattern in IGNORED:
        _put(ignore, "pattern", pattern)
    hashes = ElementTree.SubElement(root, "hashes")
    for file in files:
        entry = ElementTree.SubElement(hashes, "hash")
        _put(entry, "path", file.path, size=str(file.size), lastmodificationdate=_time(file.modified))
        _put(entry, "xxh128", file.xxh128, action=file.action, hashdate=_time(file.hashed))
    for path in sorted(folders):
        entry = ElementTree.SubElement(hashes, "directoryhash")
        _put(entry, "path", path)
        _put_folder(entry, folders[path])
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'.encode()


def _check(files: Sequence[HashedFile], empty_folders: Sequence[str]) -> None:
    if not files:
        raise ValueError("a generation of a hash list needs at least one file")
    seen: set[str] = set()
    for file in files:
        fault = markup.path_fault(file.path)
        if fault or file.path in seen:
            raise ValueError(
                f"a hash list cannot hold {shown(file.path)!r}: {fault or 'the same path twice'}"
            )
        if file.size < 0 or file.action not in _ACTIONS or not re.fullmatch("[0-9a-f]{32}", file.xxh128):
            raise ValueError(f"size, action or digest of {shown(file.path)!r} are none of a hash list")
        seen.add(file.path)
    for path in empty_folders:
        if markup.path_fault(path):
            raise ValueError(f"a hash list cannot hold the folder {shown(path)!r}")


def _put(parent: ElementTree.Element, name: str, text: str, **attributes: str) -> None:
    if not markup.writable(text.replace("\n", " ")):
        raise ValueError(f"a hash list's {name} cannot hold control characters")
    ElementTree.SubElement(parent, name, attributes).text = text


def _put_folder(parent: ElementTree.Element, hashes: tuple[str, str]) -> None:
    for name, digest in zip(("content", "structure"), hashes, strict=True):
        _put(ElementTree.SubElement(parent, name), "xxh128", digest)


def _time(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


def read_manifest(data: bytes, name: str = "hash list") -> Manifest:
    """One generation from its bytes; ``name`` is what messages call it.

    Raises
    ------
    DamagedFileError : with every fault found (up to 20) and its line.
    """
    lifted = lift(data)
    quick = _quick(lifted, name) if lifted else None
    if quick is not None:
        return quick
    root = markup.read(data, name)
    if root.tag != f"{{{NAMESPACE}}}hashlist" or root.attributes.get("version") != "2.0":
        raise DamagedFileError(f"{shown(name)} is no ASC MHL 2.0 hash list.", hint=markup.LEFT_ALONE)
    reading = _Reading()
    manifest = reading.manifest(root)
    if reading.faults:
        more = len(reading.faults) - MAX_FAULTS
        told = "; ".join(reading.faults[:MAX_FAULTS]) + (f"; and {more} more" if more > 0 else "")
        raise DamagedFileError(
            f"{shown(name)} is damaged: {told}.",
            hint="It was left as it is. The files it speaks about were not judged by it.",
        )
    return manifest


def _quick(lifted: Lifted, name: str) -> Manifest | None:
    """A manifest whose entries were lifted out; None where the general reader has to look at it."""
    try:
        root = markup.read(lifted.rest, name)
        files = lifted.files(HashedFile)
    except (DamagedFileError, ValueError):
        return None
    reading = _Reading()
    reading.files = files
    reading.seen = {file.path for file in files}
    manifest = reading.manifest(root)
    proper = root.tag == f"{{{NAMESPACE}}}hashlist" and root.attributes.get("version") == "2.0"
    return manifest if proper and lifted.belongs_in(root) and not reading.faults else None


class _Reading:
    """Turns elements to values and collects what is wrong with them."""

    def __init__(self) -> None:
        self.faults: list[str] = []
        self.files: list[HashedFile] = []
        self.others: list[OtherHash] = []
        self.folders: dict[str, tuple[str, str]] = {}
        self.moved: list[tuple[str, str]] = []
        self.seen: set[str] = set()

    def fault(self, node: Node, what: str) -> None:
        self.faults.append(f"line {node.line} has {what}")

    def manifest(self, root: Node) -> Manifest:
        creator, info = root.first("creatorinfo"), root.first("processinfo")
        if creator is None or info is None:
            self.fault(root, "no creatorinfo or processinfo")
        creator, info = creator or root, info or root
        tool, process, ignore = creator.first("tool"), _text(info, "process"), info.first("ignore")
        if process not in ("in-place", "transfer", "flatten"):
            self.fault(info, "no known process")
        above = info.first("roothash")
        if above is not None:
            self.folder(above, "")
        for hashes in root.all("hashes"):
            for node in hashes.children:
                if node.name == "hash":
                    self.file(node)
                elif node.name == "directoryhash":
                    self.path(node, folder=True)
        references = root.first("references")
        return Manifest(
            created=self.time(creator, _text(creator, "creationdate"), "creationdate"),
            hostname=_text(creator, "hostname"),
            tool=tool.text.strip() if tool else "",
            tool_version=tool.attributes.get("version", "") if tool else "",
            process=process,
            author=_text(creator, "author") or None,
            comment=_text(creator, "comment") or None,
            files=tuple(self.files),
            others=tuple(self.others),
            folders=self.folders,
            ignored=tuple(pattern.text for pattern in ignore.all("pattern")) if ignore else (),
            moved=tuple(self.moved),
            references=tuple(self.references(references)) if references else (),
        )

    def path(self, node: Node, *, folder: bool = False) -> str | None:
        """A path not seen before that stays below its folder; folders are taken in at once."""
        held = node.first("path")
        wrong = markup.path_fault(held.text) if held else "no path"
        path = held.text if held else ""
        if wrong is None and path in self.seen:
            wrong = f"the path {shown(path)!r} a second time"
        if wrong:
            self.fault(node, wrong if shown(path) in wrong else f"{wrong}, {shown(path[:200])!r}")
            return None
        self.seen.add(path)
        if folder:
            self.folder(node, path)
        return path

    def file(self, node: Node) -> None:
        path = self.path(node)
        if path is None:
            return
        held = node.first("path")
        assert held is not None
        written = held.attributes.get("size", "0")
        if not re.fullmatch("[0-9]{1,18}", written):
            self.fault(held, f"an impossible size for {shown(path)!r}")
            return
        previous = node.first("previousPath")
        if previous is not None:
            if markup.path_fault(previous.text):
                self.fault(previous, f"an impossible previous path for {shown(path)!r}")
                return
            self.moved.append((previous.text, path))
        digests = [child for child in node.children if child.name in FORMATS]
        if not digests:
            self.fault(node, f"no digest for {shown(path)!r}")
        chosen = next((child for child in digests if child.name == "xxh128"), None)
        for child in [chosen] if chosen else digests:
            action, digest = child.attributes.get("action", ""), child.text.strip()
            if action not in _ACTIONS or not is_digest(child.name, digest):
                self.fault(child, f"an impossible {child.name} or action for {shown(path)!r}")
                return
            if child is not chosen:
                size = int(written) if "size" in held.attributes else None
                other = OtherHash(path=path, size=size, format=child.name, digest=digest, action=action)
                self.others.append(other)
                continue
            modified = held.attributes.get("lastmodificationdate")
            hashed = child.attributes.get("hashdate")
            self.files.append(
                HashedFile(
                    path=path,
                    size=int(written),
                    modified=self.time(held, modified, "lastmodificationdate") if modified else _EPOCH,
                    xxh128=digest.lower(),
                    action=action,
                    hashed=self.time(child, hashed, "hashdate") if hashed else _EPOCH,
                )
            )

    def folder(self, node: Node, path: str) -> None:
        """Folder hashes in other formats are another tool's and are passed over."""
        pair = [child.first("xxh128") for name in ("content", "structure") for child in node.all(name)]
        digests = [digest.text.strip().lower() for digest in pair if digest is not None]
        if not digests:
            return
        if len(digests) != 2 or not all(is_digest("xxh128", digest) for digest in digests):
            self.fault(node, f"impossible folder hashes for {shown(path or '.')!r}")
            return
        self.folders[path] = (digests[0], digests[1])

    def references(self, node: Node) -> Iterable[tuple[str, str]]:
        for reference in node.all("hashlistreference"):
            path, seal = reference.first("path"), _text(reference, "c4")
            if path is None or markup.path_fault(path.text) or not is_digest("c4", seal):
                self.fault(reference, "an impossible reference to a nested history")
            else:
                yield path.text, seal

    def time(self, node: Node, text: str, name: str) -> datetime:
        try:
            moment = datetime.fromisoformat(text.strip())
            return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC)
        except (ValueError, OverflowError):
            self.fault(node, f"an impossible {name}, {shown(text[:40])!r}")
            return _EPOCH


def _text(node: Node, name: str) -> str:
    child = node.first(name)
    return child.text.strip() if child is not None else ""


def fold_history(manifests: Iterable[Manifest]) -> dict[str, HashedFile]:
    """What a history says the roll holds now, by path; generations in order, ``failed`` left out.

    Raises
    ------
    DamagedFileError : when two generations vouch for different bytes under one path.
    """
    held: dict[str, HashedFile] = {}
    for manifest in manifests:
        for previous, _ in manifest.moved:
            held.pop(previous, None)
        for file in manifest.files:
            before = held.get(file.path)
            if file.action == "failed":
                continue
            if before is not None and before.xxh128 != file.xxh128:
                raise DamagedFileError(
                    f"The hash list's generations vouch for different bytes of {shown(file.path)}.",
                    hint="Nothing was changed. Compare the file with another copy of this roll.",
                )
            held[file.path] = replace(file, modified=before.modified) if before is not None else file
    return held
