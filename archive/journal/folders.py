"""Where a journal's entries lie: folders mean nothing, so they are found however the folders are arranged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from archive.formats.entry import NAME
from archive.journal.counters import STRIDE, greatest
from archive.store.listing import Listing
from archive.store.ports import Disk

FOLDER = "journal"
DEEPEST = 8
"""How many folders below the journal's own one are looked into; links are not followed."""
Place = tuple[Disk, str]
"""Where a copy of an entry lies: the disk, and the path on it."""


@dataclass(frozen=True, kw_only=True)
class Folder:
    """One folder of a journal as it was listed: entries, what else lies there, and the folders below.

    ``strange`` and ``below`` are paths; ``mark`` as in :class:`archive.store.listing.Listing`.
    """

    mark: str
    entries: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()
    below: tuple[str, ...] = ()

    @property
    def greatest(self) -> int:
        """The greatest counter in any of its names; 0 for none."""
        # Names are sorted, and begin with their counter.
        return counter_of(self.entries[-1]) if self.entries else 0


class Folders:
    """The journal's folders on one disk, listed anew only where a name may have come or gone."""

    def __init__(self, disk: Disk) -> None:
        self.disk = disk
        self._held: dict[str, Folder] = {}

    def recall(self, held: Mapping[str, Folder]) -> None:
        """Take up what an earlier program listed, by path."""
        self._held = dict(held)

    def look(self) -> dict[str, Folder]:
        """Every folder by its path, in a fixed order."""
        found: dict[str, Folder] = {}
        waiting = [FOLDER]
        while waiting:
            path = waiting.pop()
            before = self._held.get(path)
            listing = self.disk.listing(path, before.mark if before else "")
            folder = _folder(path, listing) if listing is not None else before
            assert folder is not None, "only a mark that was given can be the same still"
            found[path] = folder
            waiting.extend(reversed(folder.below))
        self._held = found
        return found


def _folder(path: str, listing: Listing) -> Folder:
    match = NAME.fullmatch
    entries = tuple(name for name in listing.files if match(name))
    others = listing.others
    if len(entries) < len(listing.files):
        others = (*(name for name in listing.files if not match(name)), *others)
    deep = path.count("/") >= DEEPEST
    if deep:
        others = (*others, *listing.folders)
    return Folder(
        mark=listing.mark,
        entries=entries,
        strange=tuple(f"{path}/{name}" for name in others if not name.startswith(".")),
        below=() if deep else tuple(f"{path}/{name}" for name in listing.folders),
    )


class Held:
    """All entries that the disks of a journal hold, at one moment.

    Parameters
    ----------
    on : each disk with its folders, in the order in which copies are asked for.
    """

    def __init__(self, on: Sequence[tuple[Disk, Mapping[str, Folder]]]) -> None:
        self.on = on

    def _folders(self) -> Iterator[Folder]:
        for _, folders in self.on:
            yield from folders.values()

    def __contains__(self, name: str) -> bool:
        return any(name in folder.entries for folder in self._folders())

    def greatest(self) -> int:
        """The greatest counter that counts in any name."""
        # Below the first gap that could matter, the last name of each folder is enough.
        top = max((folder.greatest for folder in self._folders()), default=0)
        if top <= STRIDE:
            return top
        return greatest(counter_of(name) for folder in self._folders() for name in folder.entries)

    def newest_first(self, since: int) -> list[str]:
        """Names whose counter is ``since`` or greater, the greatest first."""
        late = (folder for folder in self._folders() if folder.greatest >= since)
        names = {name for folder in late for name in folder.entries if counter_of(name) >= since}
        return sorted(names, reverse=True)

    def of(self, names: Iterable[str]) -> dict[str, list[Place]]:
        """Where the copies of some entries lie, in the order of the disks; not those that are nowhere."""
        wanted = set(names)
        return {name: places for name, places in self._places(wanted).items() if name in wanted}

    def places(self) -> dict[str, list[Place]]:
        """Every entry name, and where its copies lie, in the order of the disks."""
        return self._places(None)

    def _places(self, wanted: set[str] | None) -> dict[str, list[Place]]:
        found: dict[str, list[Place]] = {}
        for disk, folders in self.on:
            for path, folder in folders.items():
                if wanted is not None and wanted.isdisjoint(folder.entries):
                    continue
                for name in folder.entries:
                    found.setdefault(name, []).append((disk, f"{path}/{name}"))
        return found


def entry_paths(disk: Disk) -> Iterator[tuple[str, str]]:
    """Path and name of every entry on a disk, wherever below the journal's folder it lies."""
    for path, folder in Folders(disk).look().items():
        for name in folder.entries:
            yield f"{path}/{name}", name


def strangers(folders: Mapping[str, Folder]) -> list[str]:
    """Paths of what lies in a journal and is no entry: other files, links, folders below the deepest.

    Hidden ones, which systems leave everywhere, and what lies in hidden folders, are left out.
    """
    shown = (folder for path, folder in folders.items() if "/." not in path)
    return [path for folder in shown for path in folder.strange]


def counter_of(name: str) -> int:
    """The counter in an entry's name."""
    return int(name[:10])
