"""The folders that hold copies: making, finding and opening them, and what their hash lists say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from archive.errors import ArchiveError, DamagedFileError, UsageError, shown
from archive.formats import volume as volume_format
from archive.formats.hashchain import c4, read_chain
from archive.formats.hashlist import HashedFile, fold_history, read_manifest
from archive.formats.starthere import start_here
from archive.formats.volume import VolumeMark
from archive.store.durable import LocalDisk, read_bytes, write_new
from archive.store.ports import Disk

MASTERS = "masters"
CHAIN = "ascmhl/ascmhl_chain.xml"


@dataclass(frozen=True, kw_only=True)
class Volume:
    """One open volume."""

    root: Path
    mark: VolumeMark
    disk: Disk = field(compare=False)

    @property
    def id(self) -> str:
        return self.mark.volume

    @property
    def name(self) -> str:
        return self.mark.name


def create_volume(root: Path, mark: VolumeMark) -> Volume:
    """Make an empty or new folder a volume, with the pages that explain it to a stranger.

    Raises
    ------
    UsageError : when the folder holds something already.
    ArchiveError : when it cannot be written.
    """
    try:
        if root.exists() and (not root.is_dir() or any(root.iterdir())):
            raise UsageError(
                f"{shown(str(root))} already holds something.",
                hint="Nothing was changed. Name a new or an empty folder.",
            )
        root.mkdir(parents=True, exist_ok=True)
        disk = LocalDisk(root)
        formats = resources.files("archive.formats").joinpath("FORMATS.md").read_bytes()
        write_new(disk, "", "FORMATS.md", formats)
        write_new(disk, "", "START-HERE.html", start_here(mark))
        write_new(disk, "", volume_format.NAME, volume_format.encode(mark))
    except OSError as error:
        raise ArchiveError(
            f"{shown(str(root))} cannot be written: {error.strerror}.",
            hint="Nothing was lost. Check that the drive is mounted, writable and not full.",
        ) from error
    return Volume(root=root, mark=mark, disk=disk)


def open_volume(root: Path) -> Volume:
    """The volume in a folder.

    Raises
    ------
    ArchiveError : when the folder is none, or its mark cannot be read.
    """
    root = root.resolve()
    disk = LocalDisk(root)
    try:
        data = read_bytes(disk, volume_format.NAME, limit=1 << 20)
    except (FileNotFoundError, NotADirectoryError):
        raise ArchiveError(
            f"There is no archive in {shown(str(root))}.",
            hint="Nothing was changed. Make one with `noctuary new FOLDER`, or name yours with --archive.",
        ) from None
    except OSError as error:
        raise ArchiveError(
            f"{shown(str(root / volume_format.NAME))} cannot be read: {error.strerror}.",
            hint="Nothing was changed. Check the drive and its permissions.",
        ) from error
    return Volume(root=root, mark=volume_format.decode(data), disk=disk)


def find_volume(start: Path) -> Path | None:
    """The volume that a folder lies in, itself included."""
    start = start.resolve()
    for folder in (start, *start.parents):
        if (folder / volume_format.NAME).is_file():
            return folder
    return None


def roll_folders(disk: Disk) -> Iterator[str]:
    """Every roll folder of a volume, as ``NIGHT/NAME-ID``, sorted."""
    for night in disk.folders(MASTERS):
        for roll in disk.folders(f"{MASTERS}/{night}"):
            yield f"{night}/{roll}"


def chain_state(disk: Disk, folder: str) -> bytes | None:
    """The chain file of a roll as it is now: it changes with every generation. None before the first.

    Raises
    ------
    DamagedFileError : when it is there and cannot be read.
    """
    path = f"{MASTERS}/{folder}/{CHAIN}"
    try:
        return read_bytes(disk, path, limit=1 << 24)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise _damaged_list(path, f"cannot be read: {error.strerror}") from error


def held_files(disk: Disk, folder: str) -> dict[str, HashedFile]:
    """What a roll's own hash lists say it holds, by path below the roll.

    Raises
    ------
    DamagedFileError : when a manifest is missing, edited or unreadable, naming it.
    """
    chain = chain_state(disk, folder)
    if chain is None:
        return {}
    manifests = []
    for link in read_chain(chain):
        path = f"{MASTERS}/{folder}/ascmhl/{link.path}"
        try:
            data = read_bytes(disk, path, limit=1 << 28)
        except FileNotFoundError:
            raise _damaged_list(path, "is missing") from None
        except OSError as error:
            raise _damaged_list(path, f"cannot be read: {error.strerror}") from error
        if c4(data) != link.c4:
            raise _damaged_list(path, "was changed after it was written")
        manifests.append(read_manifest(data, link.path))
    return fold_history(manifests)


def _damaged_list(path: str, fault: str) -> DamagedFileError:
    return DamagedFileError(
        f"The hash list {shown(path)} {fault}.",
        hint="The masters beside it were not touched. Take the list from another volume.",
    )
