"""The entries on the volumes: append one, read them, notice what is wrong with each."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime

from archive.errors import ArchiveError, shown
from archive.formats import entry as entry_format
from archive.formats.documents import MAX_DOCUMENT
from archive.journal.chains import CLOCK_SLACK_S
from archive.journal.counters import LAST, greatest
from archive.journal.folders import FOLDER, Folder, Folders, Held, Place, counter_of
from archive.model.entry import Draft, Entry
from archive.model.identity import EntryId
from archive.store.durable import read_bytes, tidy, write_new
from archive.store.ports import Disk
from archive.store.userplace import Writer

_TOLD_EVERY = 1000
READING = "Reading the journal"


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One entry, or one copy of it, that is set aside, and why."""

    name: str
    error: ArchiveError


def utc_now() -> datetime:
    return datetime.now(UTC)


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


class Log:
    """The journal of one archive, on one or more disks that are kept alike.

    Parameters
    ----------
    disks : entries are written to all of them.
    guards : the same disks in an order that every program shares, so that two never wait for each other.
    writer : this working copy on this machine; a bare id is a writer whose past must be looked up.
    person : who decides, as written into entries.
    say : tells a person what they should know and need not act on at once.

    Where ``lost`` is set, one of several disks that cannot be written is left, ``lost`` is told, and the
    entry counts with the others; else the error is raised.
    """

    def __init__(
        self,
        disks: Sequence[Disk],
        *,
        writer: Writer | str,
        person: str,
        guards: Sequence[Disk] | None = None,
        now: Callable[[], datetime] = utc_now,
        say: Callable[[str], None] = _say,
    ) -> None:
        self._disks = list(disks)
        self._guards = list(guards or disks)
        self._writer = writer if isinstance(writer, Writer) else Writer(writer)
        self._person = person
        self._now = now
        self.say = say
        self._tidied = False
        self._folders = [Folders(disk) for disk in disks]
        self._of_others: set[str] = set()
        self.appended: list[str] = []
        self.lost: Callable[[Disk, OSError], None] | None = None

    @property
    def writer(self) -> str:
        """The id this working copy writes under."""
        return self._writer.id

    def on(self, disk: Disk) -> Log:
        """The same journal as one disk alone holds it."""
        return Log([disk], writer=self._writer, person=self._person, now=self._now, say=self.say)

    def leave(self, disk: Disk) -> None:
        """Write to a disk no more, because it failed; it is united again when it is back."""
        self._disks = [each for each in self._disks if each is not disk]
        self._folders = [each for each in self._folders if each.disk is not disk]
        self._guards = [each for each in self._guards if each is not disk]

    def recall(self, disk: Disk, folders: Mapping[str, Folder]) -> None:
        """Take up how an earlier program found a disk's folders: those left alone are not listed again."""
        for each in self._folders:
            if each.disk is disk:
                each.recall(folders)

    def look(self) -> Held:
        """What the disks hold now; folders that were left alone since the last look are not listed again."""
        return Held([(each.disk, each.look()) for each in self._folders])

    def places(self) -> dict[str, list[Place]]:
        """Every entry name held, and where its copies lie, in the order of the disks."""
        return self.look().places()

    def names(self) -> dict[str, str]:
        """Every entry name held, with the path it lies at; on any disk, the first that has it."""
        return {name: places[0][1] for name, places in self.places().items()}

    # -- writing -------------------------------------------------------------------------------

    def append(self, draft: Draft) -> Entry:
        """Write an entry, durable on every disk before it returns.

        Raises
        ------
        ArchiveError : when a name that is held uses up the last counter.
        ValueError : when the draft holds what no entry can hold.
        """
        with ExitStack() as locks:
            for disk in self._guards:
                locks.enter_context(disk.lock("journal", "Writing to the journal"))
            if not self._tidied:
                for each in self._disks:
                    tidy(each, "journal")
                self._tidied = True
            held = self.look()
            counter = 1 + held.greatest()
            if counter > LAST:
                raise ArchiveError(
                    f"The journal has come to its last counter: {shown(held.newest_first(LAST)[0])}.",
                    hint="Nothing was changed. No journal grows that long: that entry is forged or damaged; "
                    "put it aside outside the archive.",
                )
            moment = self._now().astimezone(UTC)
            previous = self._previous(held, moment)
            entry, data = entry_format.encode(
                kind=draft.kind,
                counter=counter,
                time=moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
                writer=self._writer.id,
                previous=previous,
                person=self._person,
                changes=draft.changes,
                essential=draft.essential,
            )
            for each in list(self._disks):
                try:
                    write_new(each, f"{FOLDER}/{moment:%Y-%m}", entry.name, data)
                except OSError as error:
                    if self.lost is None or len(self._disks) == 1:
                        raise
                    # One fault never stops the rest: the others have the entry, and it is united later.
                    self.leave(each)
                    self.lost(each, error)
            self._writer.wrote(entry.name, entry.id)
            self.appended.append(entry.name)
        return entry

    def forgotten(self, held: Held) -> str | None:
        """The name of the last entry written here, where it is remembered and nowhere held; else None."""
        self._writer.refresh()
        last = self._writer.last
        if last is None or last[0] in held:
            return None
        # It may have been written since they were looked at, by this program or by another one.
        return None if last[0] in self.look() else last[0]

    def _previous(self, held: Held, moment: datetime) -> EntryId | None:
        """This writer's newest entry: the one remembered, unless the journal holds a newer one."""
        missing = self.forgotten(held)
        if missing is not None:
            self.split(
                f"The last entry written here, {missing}, is not in this journal: this is another copy, "
                "or an older one, or the entry was removed."
            )
        last = self._writer.last
        if last is None and self._writer.complete:
            return None
        newest = last
        names = held.newest_first(0 if last is None else counter_of(last[0]))
        places = held.of(names)
        for name in names:
            if newest is not None and name == newest[0]:
                break
            if name in self._of_others:
                continue
            try:
                entry = self.read(name, places[name])
            except ArchiveError:
                continue
            if entry.writer == self._writer.id:
                newest = (name, entry.id)
                break
            self._of_others.add(name)
        if newest is None:
            return None
        self._tell_of_clock(newest[0], moment)
        return EntryId(newest[1])

    def split(self, why: str) -> None:
        """Go on as a new writer, because what was written under the old id cannot be all one's own."""
        self._writer.renew()
        self.say(f"{why} This working copy writes under a new id from now on; nothing else changes.")

    def _tell_of_clock(self, last: str, moment: datetime) -> None:
        before = datetime.strptime(last[11:27], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        if (before - moment).total_seconds() > CLOCK_SLACK_S:
            self.say(
                f"The clock of this machine reads {moment:%Y-%m-%d %H:%M:%S} UTC, but the last entry written "
                f"here is of {before:%Y-%m-%d %H:%M:%S} UTC. The order of entries does not depend on it; "
                "check the clock all the same."
            )

    # -- reading -------------------------------------------------------------------------------

    def read(self, name: str, places: Sequence[Place]) -> Entry:
        """One entry, from the first place where it is sound.

        Raises
        ------
        ArchiveError : when it is damaged or renamed wherever it lies, or newer than this release can tell.
        """
        trouble: ArchiveError | None = None
        for disk, path in places:
            try:
                return read_entry(disk, path, name)
            except ArchiveError as error:
                trouble = trouble or error
        assert trouble is not None
        raise trouble

    def read_new(
        self,
        known: set[str],
        places: dict[str, list[Place]] | None = None,
        progress: Callable[[str, int, int], None] | None = None,
        *,
        bound: int | None = None,
    ) -> Iterator[Entry | Fault]:
        """Every entry whose name is not known yet, in name order; a fault takes no other entry down.

        An entry that is sound on one disk only counts, and its damaged copy is told as well. ``places``
        spares listing the disks again; with some of them only comes ``bound``, the greatest counter of all.
        """
        if places is None:
            places = self.places()
        if bound is None:
            bound = greatest(counter_of(name) for name in places)
        wanted = sorted(places.keys() - known)
        for number, name in enumerate(wanted):
            if progress and number % _TOLD_EVERY == 0:
                progress(READING, number, len(wanted))
            yield from read_copies(name, places[name], bound)


def read_copies(name: str, places: Iterable[Place], bound: int) -> Iterator[Entry | Fault]:
    """An entry from the first of its places where it is sound, after the faults of those before.

    ``bound`` is the greatest counter that one can honestly have.
    """
    if counter_of(name) > bound:
        yield Fault(name=name, error=out_of_line(name, bound))
        return
    for disk, path in places:
        try:
            entry = read_entry(disk, path, name)
        except ArchiveError as error:
            yield Fault(name=name, error=error)
            continue
        yield entry
        break


def read_entry(disk: Disk, path: str, name: str) -> Entry:
    """The entry that lies at a path.

    Raises
    ------
    ArchiveError : when it cannot be read, is damaged or renamed.
    """
    try:
        data = read_bytes(disk, path, limit=MAX_DOCUMENT)
    except OSError as error:
        raise ArchiveError(
            f"The journal entry {shown(name)} cannot be read: {error.strerror or error}.",
            hint="It was left as it is and set aside.",
        ) from error
    return entry_format.decode(data, name)


def out_of_line(name: str, bound: int) -> ArchiveError:
    """What is told of an entry whose counter no honest journal can have come to."""
    return ArchiveError(
        f"The journal entry {shown(name)} has a counter far above all others, which end at {bound}: "
        "it is forged, or everything in between is lost.",
        hint="It was left as it is and set aside; writing goes on below it. "
        "If entries are lost, take them from another volume; else put it aside outside the archive.",
    )
