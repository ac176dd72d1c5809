"""The entries on the volumes: append one, read them, notice what is wrong with them, unite two journals."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime

from archive.errors import ArchiveError, shown
from archive.formats import entry as entry_format
from archive.formats.documents import MAX_DOCUMENT
from archive.model.entry import Draft, Entry
from archive.model.identity import EntryId
from archive.store.durable import read_bytes, tidy, write_new
from archive.store.ports import Disk

FOLDER = "journal"
LAST_COUNTER = 9_999_999_999


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One entry that is set aside, and why."""

    name: str
    error: ArchiveError


@dataclass(frozen=True, kw_only=True)
class United:
    """What uniting two journals did."""

    copied: int
    faults: tuple[Fault, ...]


def utc_now() -> datetime:
    return datetime.now(UTC)


class Log:
    """The journal of one archive, on one or more disks that are kept alike.

    Parameters
    ----------
    disks : entries are written to all of them.
    guards : the same disks in an order that every program shares, so that two never wait for each other.
    writer : the id of this working copy on this machine.
    person : who decides, as written into entries.
    """

    def __init__(
        self,
        disks: Sequence[Disk],
        *,
        writer: str,
        person: str,
        guards: Sequence[Disk] | None = None,
        now: Callable[[], datetime] = utc_now,
    ) -> None:
        self._disks = list(disks)
        self._guards = list(guards or disks)
        self._writer = writer
        self._person = person
        self._now = now
        self._last: tuple[int, EntryId | None] | None = None

    def on(self, disk: Disk) -> Log:
        """The same journal as one disk alone holds it."""
        return Log([disk], writer=self._writer, person=self._person, now=self._now)

    def names(self) -> dict[str, str]:
        """Every entry name held, with the path it lies at; on any disk, the first that has it."""
        found: dict[str, str] = {}
        for disk in self._disks:
            for path, name in _entry_paths(disk):
                found.setdefault(name, path)
        return found

    def append(self, draft: Draft) -> Entry:
        """Write an entry, durable on every disk before it returns.

        Raises
        ------
        ArchiveError : when a name that is held uses up the last counter.
        """
        with ExitStack() as locks:
            for disk in self._guards:
                locks.enter_context(disk.lock("journal", "Writing to the journal"))
            if self._last is None:
                for each in self._disks:
                    tidy(each, "journal")
            names = self.names()
            counter = 1 + max((int(name[:10]) for name in names), default=0)
            if counter > LAST_COUNTER:
                raise ArchiveError(
                    f"The journal has come to its last counter: {shown(max(names))}.",
                    hint="Nothing was changed. No journal grows that long: that entry is forged or damaged; "
                    "put it aside outside the archive.",
                )
            moment = self._now().astimezone(UTC)
            entry, data = entry_format.encode(
                kind=draft.kind,
                counter=counter,
                time=moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
                writer=self._writer,
                previous=self._previous(names),
                person=self._person,
                changes=draft.changes,
                essential=draft.essential,
            )
            folder = f"{FOLDER}/{moment:%Y-%m}"
            for each in self._disks:
                write_new(each, folder, entry.name, data)
            self._last = (counter, entry.id)
        return entry

    def _previous(self, names: dict[str, str]) -> EntryId | None:
        """This writer's newest entry; remembered while no one else has written since."""
        newest = max((int(name[:10]) for name in names), default=0)
        if self._last is not None and self._last[0] == newest:
            return self._last[1]
        for name in sorted(names, reverse=True):
            try:
                entry = self.read(name, names[name])
            except ArchiveError:
                continue
            if entry.writer == self._writer:
                return entry.id
        return None

    def read(self, name: str, path: str) -> Entry:
        """One entry.

        Raises
        ------
        ArchiveError : when it is damaged, renamed, or newer than this release.
        """
        try:
            holder = next((d for d in self._disks if d.stat(path) is not None), self._disks[0])
            data = read_bytes(holder, path, limit=MAX_DOCUMENT)
        except OSError as error:
            raise ArchiveError(
                f"The journal entry {shown(name)} cannot be read: {error.strerror}.",
                hint="It was left as it is and set aside.",
            ) from error
        return entry_format.decode(data, name)

    def read_new(self, known: set[str]) -> Iterator[Entry | Fault]:
        """Every entry whose name is not known yet, in name order; a fault takes no other entry down."""
        names = self.names()
        for name in sorted(names.keys() - known):
            try:
                yield self.read(name, names[name])
            except ArchiveError as error:
                yield Fault(name=name, error=error)


def unite(source: Disk, target: Disk) -> United:
    """Copy the entries that ``target`` lacks; the order of uniting does not matter.

    The same name with other bytes is a fault: neither is changed.
    """
    copied = 0
    faults = []
    # Whoever writes a journal may tidy its temporary files away; so this is a writer like any other.
    with target.lock("journal", "Uniting two journals"):
        have = {name: path for path, name in _entry_paths(target)}
        for path, name in _entry_paths(source):
            try:
                data = read_bytes(source, path, limit=MAX_DOCUMENT)
                if name in have:
                    if read_bytes(target, have[name], limit=MAX_DOCUMENT) != data:
                        raise ArchiveError(
                            f"The journal entry {shown(name)} has other bytes in the two archives.",
                            hint="Neither was changed. One of them is damaged; audit both.",
                        )
                    continue
                entry_format.decode(data, name)
                write_new(target, path.rpartition("/")[0], name, data)
                have[name] = path
                copied += 1
            except (ArchiveError, OSError) as error:
                fault = error if isinstance(error, ArchiveError) else ArchiveError(str(error))
                faults.append(Fault(name=name, error=fault))
    return United(copied=copied, faults=tuple(faults))


def _entry_paths(disk: Disk) -> Iterator[tuple[str, str]]:
    for folder in ("", *disk.folders(FOLDER)):
        below = f"{FOLDER}/{folder}" if folder else FOLDER
        for name in disk.files(below):
            if entry_format.NAME.fullmatch(name):
                yield f"{below}/{name}", name
