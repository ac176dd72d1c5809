"""A disk of this machine: writes that are synced, names that never replace, locks that the system keeps."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat as modes
import sys
from collections.abc import Callable, Hashable, Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import BinaryIO

from archive.errors import ArchiveError, shown
from archive.model.identity import new_token
from archive.store.digest import BLOCK, digest_stream
from archive.store.drives import pool_of
from archive.store.listing import FINE_KINDS, Listing, listing
from archive.store.locks import held, holder
from archive.store.mounttable import mount_kind
from archive.store.naming import Naming, give_name
from archive.store.ports import Disk, Grade, Stat, Writing
from archive.store.protecting import protect
from archive.store.readback import read_back
from archive.store.traits import Traits, traits_of
from archive.store.writing import LocalWriting

_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)
_BINARY = getattr(os, "O_BINARY", 0)
_CLOEXEC = getattr(os, "O_CLOEXEC", 0)
_NONBLOCK = getattr(os, "O_NONBLOCK", 0)

_MANY = 8
"""Files from which on the whole file system is synced at once rather than file by file."""
_CLUSTER = 128 << 10
"""Bytes: the largest cluster that drives are usually formatted with, where the system does not tell it."""


def unsafe_in_paths(system: str) -> tuple[str, ...]:
    """What no relative path holds. To Windows the last two separate folders, and name drives and streams."""
    return ("\0", "\\", ":") if system == "nt" else ("\0",)


_UNSAFE = unsafe_in_paths(os.name)


def _say_waiting(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


class LocalDisk:
    """A folder of a local or mounted file system, as a :class:`archive.store.ports.Disk`."""

    def __init__(self, root: Path, *, say: Callable[[str], None] = _say_waiting) -> None:
        self.root = Path(root)
        self._root = str(self.root)
        self._say = say
        self._traits: Traits | None = None

    @cached_property
    def _kind(self) -> str:
        return mount_kind(self.root)

    # -- paths ---------------------------------------------------------------------------------

    def path(self, relative: str) -> Path:
        """The real path of a relative one; refuses to leave the tree or to pass through a link."""
        return Path(self._within(relative))

    def _within(self, relative: str) -> str:
        # As text: building path objects would cost more than reading a small file.
        current = self._root
        if not relative:
            return current
        parts = relative.split("/")
        if relative.startswith("/") or ".." in parts or any(each in relative for each in _UNSAFE):
            raise ArchiveError(
                f"{shown(relative)} points outside its volume.", hint="Nothing was read or written."
            )
        for part in parts[:-1]:
            current = f"{current}{os.sep}{part}"
            if os.path.islink(current):  # noqa: PTH114 - as above
                raise ArchiveError(
                    f"{shown(current)} is a link; a volume holds no links.",
                    hint="Nothing was read or written. Replace the link by the folder it stands for.",
                )
        return f"{current}{os.sep}{parts[-1]}"

    # -- writing -------------------------------------------------------------------------------

    def begin(self, path: str) -> LocalWriting:
        target = self.path(path)
        self._make_folder(target.parent)
        return LocalWriting(target)

    def finish_all(self, writings: Sequence[Writing]) -> None:
        ours = [each for each in writings if isinstance(each, LocalWriting)]
        if len(ours) >= _MANY and ours[0].sync_whole(self._kind):
            for each in ours:
                each.close()
        else:
            for writing in writings:
                writing.finish()

    def _plain(self, path: str) -> Path:
        """The real path of a file or folder that is no link itself."""
        target = self.path(path)
        if target.is_symlink():
            raise OSError(errno.ELOOP, "is a link", str(target))
        return target

    def _make_folder(self, folder: Path) -> None:
        if folder.is_dir():
            return
        missing = []
        current = folder
        while not current.is_dir():
            missing.append(current)
            current = current.parent
        for made in reversed(missing):
            with contextlib.suppress(FileExistsError):
                made.mkdir()
            _sync_folder(made.parent)

    def lend(self, path: str) -> Path:
        target = self.path(path)
        self._make_folder(target.parent)
        return target

    def settle(self, path: str) -> None:
        target = self._plain(path)
        with target.open("r+b") as stream:
            os.fsync(stream.fileno())
        protect(target)

    def publish(self, source: str, target: str) -> None:
        final = self.path(target)
        self._make_folder(final.parent)
        self._give_name(self.path(source), final)

    def _give_name(self, source: Path, target: Path) -> Naming:
        return give_name(source, target, claim=lambda: self.lock("publish", "Naming a file"))

    def replace(self, source: str, target: str) -> None:
        final = self.path(target)
        if os.name == "nt" and final.exists():
            final.chmod(0o644)
        self.path(source).replace(final)

    def sync_folder(self, path: str) -> None:
        # An earlier run may have been stopped between making a folder and syncing the one above it.
        folder = self.path(path)
        _sync_folder(folder)
        while folder != self.root:
            folder = folder.parent
            _sync_folder(folder)

    def protect(self, path: str) -> None:
        protect(self._plain(path))

    def remove(self, path: str) -> None:
        target = self.path(path)
        try:
            target.unlink()
        except FileNotFoundError:
            return
        except PermissionError:
            # Windows refuses to remove what is read-only.
            target.chmod(0o644)
            target.unlink()

    # -- reading -------------------------------------------------------------------------------

    def open(self, path: str) -> BinaryIO:
        # Without O_NONBLOCK, opening a pipe would wait for a writer that never comes.
        flags = os.O_RDONLY | _NOFOLLOW | _BINARY | _CLOEXEC | _NONBLOCK
        where = self._within(path)
        descriptor = os.open(where, flags)
        try:
            if not modes.S_ISREG(os.fstat(descriptor).st_mode):
                raise OSError(errno.EINVAL, "not a plain file", where)
            return os.fdopen(descriptor, "rb", buffering=0)
        except BaseException:
            os.close(descriptor)
            raise

    def read_back(self, path: str) -> tuple[str, Grade]:
        return read_back(self._plain(path), kind=self._kind)

    def stat(self, path: str) -> Stat | None:
        try:
            found = os.lstat(self.path(path))
        except (FileNotFoundError, NotADirectoryError):
            return None
        return _stat(found) if modes.S_ISREG(found.st_mode) else None

    def files(self, path: str) -> list[str]:
        return self._names(path, lambda item: item.is_file(follow_symlinks=False))

    def folders(self, path: str) -> list[str]:
        return self._names(path, lambda item: item.is_dir(follow_symlinks=False))

    def _names(self, path: str, wanted: Callable[[os.DirEntry[str]], bool]) -> list[str]:
        folder = self.path(path)
        if folder != self.root and folder.is_symlink():
            return []
        try:
            with os.scandir(folder) as items:
                return sorted(item.name for item in items if wanted(item))
        except (FileNotFoundError, NotADirectoryError):
            return []

    def listing(self, path: str, held: str = "") -> Listing | None:
        return listing(self._within(path), held, fine=self._kind in FINE_KINDS)

    def walk(self, path: str) -> Iterator[tuple[str, Stat]]:
        for name in self.files(path):
            below = f"{path}/{name}" if path else name
            found = self.stat(below)
            if found is not None:
                yield below, found
        for name in self.folders(path):
            yield from self.walk(f"{path}/{name}" if path else name)

    def free(self) -> int:
        return shutil.disk_usage(self.root).free

    def cluster(self) -> int:
        if not hasattr(os, "statvfs"):
            return _CLUSTER
        found = os.statvfs(self.root)
        size = found.f_frsize or found.f_bsize or _CLUSTER
        # A share tells how much it likes to be asked for at once, not what a file takes there.
        return min(size, _CLUSTER) if self._kind.startswith(("nfs", "cifs", "smb")) else size

    def system(self) -> Hashable:
        return pool_of(self.root)

    def traits(self) -> Traits:
        if self._traits is None:
            trial = self.path(temporary_name("ingest"))
            self._make_folder(trial.parent)
            self._traits = traits_of(self.root, trial, self._give_name)
        return self._traits

    # -- locks ---------------------------------------------------------------------------------

    @contextlib.contextmanager
    def lock(self, name: str, purpose: str) -> Iterator[None]:
        target = self.path(f"incoming/{name}.lock")
        # A link here would have its target emptied below.
        flags = os.O_RDWR | os.O_CREAT | _NOFOLLOW | _BINARY | _CLOEXEC
        try:
            self._make_folder(target.parent)
            descriptor = os.open(target, flags, 0o644)
        except OSError as error:
            raise ArchiveError(
                f"{shown(str(self.root))} cannot be written: {error.strerror}.",
                hint="Nothing was changed. Mount it writable, and check its permissions and its room.",
            ) from error
        with held(descriptor, purpose, lambda: self._say(f"Waiting: {holder(target)}")):
            yield


def write_new(disk: Disk, folder: str, name: str, data: bytes, *, by: str = "journal") -> None:
    """Write a small document whole: temporary name, sync, publish without replacing, sync the folder.

    ``by`` is the lock it is written under; what a crash leaves of it is found by that name.

    Raises
    ------
    FileExistsError : when other bytes hold the name; the same bytes are simply kept.
    """
    target = f"{folder}/{name}" if folder else name
    temporary = temporary_name(by)
    writing = disk.begin(temporary)
    try:
        writing.write(data)
        writing.finish()
        try:
            disk.publish(temporary, target)
        except FileExistsError:
            if read_bytes(disk, target) != data:
                raise
            disk.remove(temporary)
    except BaseException:
        writing.abandon()
        raise
    disk.sync_folder(folder)


def temporary_name(by: str) -> str:
    """A path below ``incoming/`` that no one else uses."""
    return f"incoming/{by}-{new_token(8)}.part"


def tidy(disk: Disk, by: str) -> None:
    """Remove what crashes left under a lock's temporary names; only to be called under that lock."""
    for name in disk.files("incoming"):
        if name.startswith(f"{by}-") and name.endswith(".part"):
            disk.remove(f"incoming/{name}")


def read_bytes(disk: Disk, path: str, limit: int = 1 << 31) -> bytes:
    """A whole file; refuses to read more than ``limit`` bytes."""
    with disk.open(path) as stream:
        # Asking for the limit at once would reserve that much memory for the smallest file.
        pieces: list[bytes] = []
        size = 0
        while size <= limit:
            more = stream.read(min(BLOCK if pieces else 1 << 16, limit + 1 - size))
            if not more:
                return b"".join(pieces)
            pieces.append(more)
            size += len(more)
    raise ArchiveError(f"{shown(path)} is larger than {limit} bytes.", hint="It was not read.")


def digest_file(disk: Disk, path: str) -> tuple[str, int]:
    """The XXH3-128 and the size of a file as an ordinary reading sees it."""
    with disk.open(path) as stream:
        return digest_stream(stream)


def _stat(found: os.stat_result) -> Stat:
    return Stat(
        size=found.st_size, modified_ns=found.st_mtime_ns, writable=bool(found.st_mode & modes.S_IWUSR)
    )


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        # Some network file systems have no way to sync a folder; their own protocol does it.
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(descriptor)
