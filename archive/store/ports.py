"""The promises that everything durable rests on.

A :class:`Disk` is one folder tree. Paths are relative, with forward slashes; an implementation
follows no link on the way and never leaves its tree.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import BinaryIO, Protocol

from archive.store.listing import Listing
from archive.store.traits import Traits


class Grade(StrEnum):
    """How a read-back reached the bytes: around the cache, after evicting them from it, or from it."""

    DIRECT = "direct"
    EVICTED = "evicted"
    CACHED = "cached"


@dataclass(frozen=True, kw_only=True)
class Stat:
    """What a disk says about a file: size in bytes, modification time in ns since 1970, writable or not."""

    size: int
    modified_ns: int
    writable: bool


class Writing(Protocol):
    """A file being written under a temporary name."""

    def write(self, block: bytes | memoryview) -> None:
        """Append a block whole, or raise OSError."""
        ...

    def seal(self, *, modified_ns: int | None = None) -> None:
        """Make it read-only, give it its time, and have its bytes begin their way to the medium.

        They are durable only after :meth:`finish`; many files sealed first are finished faster.
        """
        ...

    def finish(self, *, modified_ns: int | None = None) -> None:
        """Seal it unless it is sealed, sync it, close it. Afterwards its bytes are durable."""
        ...

    def abandon(self) -> None:
        """Close and remove it; safe to call twice, and after finish."""
        ...


class Disk(Protocol):
    """One volume's folder tree."""

    def begin(self, path: str) -> Writing:
        """Start a file that must not exist yet; its folder is made. FileExistsError if it does."""
        ...

    def finish_all(self, writings: Sequence[Writing]) -> None:
        """Finish several sealed files of this disk; all are durable afterwards."""
        ...

    def lend(self, path: str) -> Path:
        """A real path for an encoder that writes files itself; to be settled before it is published."""
        ...

    def settle(self, path: str) -> None:
        """Make a lent file read-only and durable."""
        ...

    def publish(self, source: str, target: str) -> None:
        """Give a finished file its final name without replacing anything; FileExistsError if taken.

        The name is durable only after :meth:`sync_folder` of its folder.
        """
        ...

    def replace(self, source: str, target: str) -> None:
        """Give a finished file a name that may be in use; readers see the old file or the new one, whole.

        Only for the chain files of hash lists, which their standard wants rewritten.
        """
        ...

    def sync_folder(self, path: str) -> None:
        """Make names added to or removed from a folder durable, and the folder's own name above it."""
        ...

    def open(self, path: str) -> BinaryIO:
        """Read a file; a link or anything that is no plain file is refused with OSError."""
        ...

    def read_back(self, path: str) -> tuple[str, Grade]:
        """The XXH3-128 (``xxh128:…``) of what the medium holds, and how close to it the reading came."""
        ...

    def stat(self, path: str) -> Stat | None:
        """None if there is no such plain file."""
        ...

    def protect(self, path: str) -> None:
        """Make a file read-only, where its file system has a mark for that (see :meth:`traits`)."""
        ...

    def remove(self, path: str) -> None:
        """Remove a file; no error if it is gone."""
        ...

    def files(self, path: str) -> list[str]:
        """Names of the plain files in a folder, sorted; empty if there is no folder."""
        ...

    def folders(self, path: str) -> list[str]:
        """Names of the folders in a folder, sorted; empty if there is no folder."""
        ...

    def listing(self, path: str, held: str = "") -> Listing | None:
        """What lies in a folder; None if ``held``, the mark it had when it was listed, is its mark still."""
        ...

    def walk(self, path: str) -> Iterator[tuple[str, Stat]]:
        """Every plain file below a folder, by path, sorted."""
        ...

    def free(self) -> int:
        """Bytes that can still be written."""
        ...

    def cluster(self) -> int:
        """Bytes that a file takes at the least, and in whole multiples of."""
        ...

    def system(self) -> Hashable:
        """What shares its room: equal for disks on one file system."""
        ...

    def traits(self) -> Traits:
        """What the file system cannot keep, tried once."""
        ...

    def lock(self, name: str, purpose: str) -> AbstractContextManager[None]:
        """Hold an exclusive lock of the operating system; waits, telling who holds it.

        Raises
        ------
        ArchiveError : where no lock works.
        """
        ...
