"""What is on a card: every file, classified; nothing on it is changed."""

from __future__ import annotations

import os
import stat as modes
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from archive.errors import ArchiveError, UsageError, shown
from archive.ingest import opening
from archive.ingest.classify import classify
from archive.ingest.exif import read_facts
from archive.ingest.wholeness import damage
from archive.model.capture import CaptureFacts, Role
from archive.model.results import FileNote

HEAD = 64 * 1024
_WITH_FACTS = (Role.RAW, Role.PICTURE, Role.CLIP)
_DEEPEST = 64


@dataclass(frozen=True, kw_only=True)
class CardFile:
    """One plain file; ``path`` is relative, with lone surrogates for bytes that are no UTF-8."""

    path: str
    size: int
    modified_ns: int
    role: Role
    facts: CaptureFacts | None
    damage: str | None = None
    master: str | None = None

    @property
    def folder(self) -> str:
        return self.path.rpartition("/")[0]

    @property
    def name(self) -> str:
        return self.path.rpartition("/")[2]


@dataclass(frozen=True, kw_only=True)
class Card:
    """A card as it was found."""

    source: Path
    files: tuple[CardFile, ...]
    ignored: tuple[FileNote, ...]
    failed: tuple[FileNote, ...]


def read_card(source: Path, progress: Callable[[int, int], None] | None = None) -> Card:
    """Enumerate and classify everything on a card, and read the capture facts from file headers.

    Raises
    ------
    UsageError : when there is no such folder.
    ArchiveError : when the folder cannot be listed at all.
    """
    if not modes.S_ISDIR(looked_at(source).st_mode):
        raise UsageError(
            f"{shown(str(source))} is a file, not a card or folder.",
            hint="Nothing was changed. Name the folder it lies in.",
        )
    ignored: list[FileNote] = []
    failed: list[FileNote] = []
    found = list(_walk(source, "", ignored, failed))
    files = []
    for done, (path, size, modified_ns) in enumerate(found, 1):
        try:
            item = _examine(source, path, size, modified_ns)
        except OSError as error:
            failed.append(FileNote(path=shown(path), text=f"cannot be read: {error.strerror}"))
            continue
        if isinstance(item, FileNote):
            (failed if item.text.startswith("empty") else ignored).append(item)
        else:
            files.append(item)
        if progress:
            progress(done, len(found))
    return Card(source=source, files=tuple(files), ignored=tuple(ignored), failed=tuple(failed))


def looked_at(source: Path) -> os.stat_result:
    """What the system says of a card's folder.

    Raises
    ------
    UsageError : when there is nothing.
    ArchiveError : when it cannot be looked at.
    """
    try:
        return source.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise UsageError(
            f"There is nothing at {shown(str(source))}.",
            hint="Nothing was changed. Check the path, and that the card is in its reader.",
        ) from None
    except OSError as error:
        raise ArchiveError(
            f"{shown(str(source))} cannot be read: {error.strerror}.",
            hint="Nothing was changed. Check the card and its reader.",
        ) from error


def _walk(
    source: Path, below: str, ignored: list[FileNote], failed: list[FileNote], depth: int = 0
) -> Iterator[tuple[str, int, int]]:
    """(path, size, modification time in ns) of every plain file, sorted; all else becomes a note."""
    folder = source / below if below else source
    try:
        with os.scandir(folder) as items:
            entries = sorted(items, key=lambda item: item.name)
    except OSError as error:
        if not below:
            raise ArchiveError(
                f"{shown(str(source))} cannot be listed: {error.strerror}.",
                hint="Nothing was changed. Check the card and its reader.",
            ) from error
        failed.append(FileNote(path=shown(below) + "/", text=f"folder cannot be listed: {error.strerror}"))
        return
    for item in entries:
        path = f"{below}/{item.name}" if below else item.name
        try:
            found = item.stat(follow_symlinks=False)
        except OSError as error:
            failed.append(FileNote(path=shown(path), text=f"cannot be looked at: {error.strerror}"))
            continue
        if modes.S_ISLNK(found.st_mode):
            ignored.append(FileNote(path=shown(path), text="a link; links are not followed"))
        elif modes.S_ISDIR(found.st_mode):
            if depth >= _DEEPEST:
                failed.append(FileNote(path=shown(path) + "/", text=f"deeper than {_DEEPEST} folders"))
            else:
                yield from _walk(source, path, ignored, failed, depth + 1)
        elif modes.S_ISREG(found.st_mode):
            yield path, found.st_size, found.st_mtime_ns
        else:
            ignored.append(FileNote(path=shown(path), text="neither file nor folder"))


def _examine(source: Path, path: str, size: int, modified_ns: int) -> CardFile | FileNote:
    with opening.open_plain(source / path, buffered=True) as stream:
        head = stream.read(HEAD)
        role, reason = classify(PurePosixPath(path), head)
        if role is Role.LITTER:
            return FileNote(path=shown(path), text=reason or "left by an operating system")
        if size == 0:
            return FileNote(path=shown(path), text="empty: 0 bytes, the camera never finished it")
        facts = None
        if role in _WITH_FACTS or PurePosixPath(path).suffix.lower() == ".thm":
            stream.seek(0)
            facts = read_facts(stream, path)
        cut = damage(stream, role) if role in (Role.RAW, Role.PICTURE) else None
    if cut and facts is not None:
        facts = replace(facts, faults=(*facts.faults, cut))
    return CardFile(path=path, size=size, modified_ns=modified_ns, role=role, facts=facts, damage=cut)


def with_pairs(files: tuple[CardFile, ...]) -> tuple[CardFile, ...]:
    """Files with the path of the master they belong to: one DCF object shares folder and stem.

    Of one object the raw file is the master, else the picture that is no JPEG, else the JPEG; a clip
    with no picture beside it stands alone. A raw without facts takes those of its companion.
    """
    groups: dict[tuple[str, str], list[CardFile]] = {}
    for file in files:
        groups.setdefault((file.folder, _stem(file)), []).append(file)
    paired: dict[str, CardFile] = {}
    for members in groups.values():
        master = min(members, key=_precedence)
        if _precedence(master)[0] >= _ALONE:
            continue
        others = [m for m in members if m is not master and m.role is not Role.RAW]
        for other in others:
            paired[other.path] = replace(other, master=master.path)
        if master.facts is None or master.facts.taken is None:
            lent = next((o.facts for o in others if o.facts and o.facts.taken), None)
            if lent is not None:
                known = master.facts.to_json() if master.facts else {}
                merged = CaptureFacts.from_json(lent.to_json() | known)
                paired[master.path] = replace(master, facts=merged)
    return tuple(paired.get(file.path, file) for file in files)


_ALONE = 4


def _stem(file: CardFile) -> str:
    name = file.name.casefold()
    stem = name.rpartition(".")[0] or name
    if file.role is Role.SIDECAR and "." in stem:
        # Some programs put their sidecar's ending after the picture's: IMG_0001.CR2.xmp.
        stem = stem.rpartition(".")[0]
    return stem


def _precedence(file: CardFile) -> tuple[int, str]:
    if file.role is Role.RAW:
        rank = 0
    elif file.role is Role.PICTURE:
        rank = 2 if file.name.casefold().endswith((".jpg", ".jpeg", ".jpe")) else 1
    elif file.role is Role.CLIP:
        rank = 3
    else:
        rank = _ALONE
    return rank, file.path
