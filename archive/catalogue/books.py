"""The books of an archive: its volumes, its journal and its catalogue, kept in step."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from archive.catalogue.anew import alone, begin_anew, finish_anew, give_up_anew, is_file, sweep
from archive.catalogue.apply import SET_ASIDE
from archive.catalogue.database import discard_database, open_database
from archive.catalogue.failing import CatalogueError
from archive.catalogue.hands import Hands, hands_of_this_machine
from archive.catalogue.index import Catalogue
from archive.catalogue.noticing import (
    GONE,
    MISSING,
    NOTICED,
    NOTICES,
    STRANGE,
    gone_in_words,
    missing_in_words,
    noticed_in_words,
    strange_in_words,
)
from archive.catalogue.readahead import Progress, read_entries, read_lists
from archive.catalogue.registers import address_among
from archive.catalogue.runs import Unnumbered
from archive.catalogue.seen import came, entry_count, known_among, note_folders, seen_folders
from archive.errors import ArchiveError, UsageError, shown
from archive.journal.chains import examine
from archive.journal.folders import Folder, Held, strangers
from archive.journal.log import Fault, Log
from archive.journal.uniting import unite
from archive.model.capture import Frame
from archive.model.entry import SEALED, SELECTION, Change, Draft, Entry
from archive.model.identity import canonical, short
from archive.model.results import RebuildReport
from archive.store.masters import read_master
from archive.store.volumes import Volume, roll_folders

_MANY = 500
"""From so many entries on a catalogue that is behind in everything is made anew, which is faster."""


class Books:
    """Volumes, journal and catalogue of one open archive.

    Parameters
    ----------
    volumes : the ones in use; the first is read first and written always.
    database : URL of the catalogue; a file of SQLite unless the owner chose otherwise.
    beside : further ones that are mounted: they are read, and kept up to date with the journal.
    anew : a catalogue that cannot be opened is given up.
    """

    def __init__(
        self,
        volumes: Sequence[Volume],
        log: Log,
        database: str,
        *,
        beside: Sequence[Volume] = (),
        anew: bool = False,
    ) -> None:
        self.volumes = list(volumes)
        self.beside = list(beside)
        self.log = log
        self._database = database
        self.catalogue = self._opened(anew)

    def _opened(self, anew: bool) -> Catalogue:
        sweep(self._database)
        try:
            return Catalogue(open_database(self._database))
        except ArchiveError:
            if not anew:
                raise
        with alone(self._database, self.log.say):
            return self._opened_now(anew)

    def _opened_now(self, anew: bool) -> Catalogue:
        """The same while no other program makes one: what cannot be opened now was left so."""
        try:
            return Catalogue(open_database(self._database))
        except ArchiveError as error:
            passing = isinstance(error, CatalogueError) and not error.spoiled
            if not anew or passing or not discard_database(self._database):
                raise
        return Catalogue(open_database(self._database))

    @property
    def mounted(self) -> list[Volume]:
        """Every volume that can be read now, those that are written first."""
        return [*self.volumes, *self.beside]

    @property
    def home(self) -> Volume:
        return self.volumes[0]

    def close(self) -> None:
        if self.log.appended:
            self._give(self.beside)
        self.catalogue.close()

    def catch_up(self) -> None:
        """Make the journals of all mounted volumes alike; one that cannot be written has to wait."""
        for volume in self.mounted[1:]:
            try:
                unite(volume.disk, self.home.disk, compare=False)
            except (ArchiveError, OSError) as error:
                self.log.say(f"The journal of {shown(volume.name)} was not taken up: {_why(error)}")
        self._give(self.mounted[1:])

    def _give(self, volumes: Sequence[Volume]) -> None:
        for volume in volumes:
            try:
                unite(self.home.disk, volume.disk, compare=False)
            except (ArchiveError, OSError) as error:
                self.log.say(
                    f"The journal on {shown(volume.name)} could not be brought up to date: {_why(error)} "
                    "It will be when the volume is next used."
                )

    def leave(self, volume: Volume) -> None:
        """Read and write a volume no more, because it failed; one is always left."""
        if len(self.volumes) > 1:
            self.volumes[:] = [each for each in self.volumes if each.id != volume.id]
            self.log.leave(volume.disk)

    def volume_name(self, volume_id: str) -> str:
        """What its owner calls a volume, mounted or not."""
        mounted = next((v.name for v in self.mounted if v.id == volume_id), None)
        stated = None if mounted else self.catalogue.stated(f"volume:{volume_id}", "volume")
        return mounted or (stated["name"] if stated else volume_id[:8])

    def state(self, draft: Draft) -> Entry:
        """Write an entry and let the catalogue know; numbers sequences that it brought up.

        Raises
        ------
        UsageError : for a text that is no UTF-8, or a number that is none.
        ArchiveError : when an essential entry of a newer release speaks about one of the subjects.
        """
        self._check_unsealed(draft)
        try:
            # A reader finds 8 where 8.0 was meant: the catalogue is to hold what a rebuild would.
            changes = (replace(c, value=json.loads(canonical(c.value))) for c in draft.changes)
            entry = self.log.append(replace(draft, changes=tuple(changes)))
        except ValueError as error:
            raise UsageError(
                f"That cannot be written into the journal: {error}.",
                hint="Nothing was changed. Texts are plain Unicode, and numbers finite.",
            ) from error
        self.catalogue.apply([entry], self._numbers)
        return entry

    def _check_unsealed(self, draft: Draft) -> None:
        subjects = [subject for change in draft.changes for subject in change.subjects]
        for change in draft.changes:
            if change.layer == SELECTION:
                subjects += change.value["frames"]
        sealed = self.catalogue.stated_about(subjects, SEALED)
        if sealed:
            subject, entry = next(iter(sealed))
            raise ArchiveError(
                f"{shown(subject)} cannot be changed here: the journal entry {short(entry)} about it was "
                "written by a newer release, which marked it essential.",
                hint="Nothing was changed. Update Noctuary.",
            )

    def sync(self, progress: Progress | None = None) -> None:
        """Bring the catalogue up to what lies on the volumes, wherever it was written."""
        self._sync(progress, Hands())

    def _sync(self, progress: Progress | None, hands: Hands) -> None:
        seen = seen_folders(self.catalogue.engine)
        for volume in self.volumes:
            if volume.id in seen:
                self.log.recall(volume.disk, seen[volume.id])
        held = self.log.look()
        on = self._by_volume(held)
        told = self.catalogue.faults()
        aside = {fault.name for fault in told if fault.place == SET_ASIDE}
        gone = {fault.name for fault in told if fault.place == GONE and fault.name}
        new = came(on, seen)
        names = {name for folders in on.values() for each in folders.values() for name in each.entries}
        if len(names) > _MANY and self.catalogue.behind() and self._made_anew(progress, asked=False):
            return
        if new is None or aside or gone or entry_count(self.catalogue.engine) < len(names):
            fresh, gone = self._take_in(held, names, aside, gone, hands, progress)
        elif new:
            new -= known_among(self.catalogue.engine, new)
            fresh = bool(new)
            self.catalogue.apply(
                self.log.read_new(set(), held.of(new), progress, bound=held.greatest()), self._numbers
            )
        else:
            fresh = False
        if fresh:
            self._examine(names)
        for volume in self.volumes:
            if volume.id in on:
                note_folders(self.catalogue.engine, volume.id, on[volume.id], seen.get(volume.id, {}))
        self._notice(held, on, gone)
        for volume in self.mounted:
            self._sync_holdings(volume, hands, progress)

    def _by_volume(self, held: Held) -> dict[str, Mapping[str, Folder]]:
        return {v.id: folders for disk, folders in held.on for v in self.volumes if v.disk is disk}

    def _take_in(
        self,
        held: Held,
        names: set[str],
        aside: set[str],
        gone: set[str],
        hands: Hands,
        progress: Progress | None,
    ) -> tuple[bool, set[str]]:
        """Hold every name against those that are known; answers if any was read, and names that are gone."""
        known = self.catalogue.known_entries()
        lost = known - names
        if lost:
            # What an entry once said cannot be told from a catalogue that has lost it: begin anew.
            self.empty()
            known = set()
        # Entries set aside are judged again: a fault is told for as long as it lasts.
        places = held.places()
        wanted = sorted(places.keys() - (known - aside))
        self.catalogue.clear_faults(SET_ASIDE)
        read = read_entries(hands, wanted, places, held.greatest(), progress)
        self.catalogue.take(read, self._numbers, hands, progress)
        return bool(wanted), (gone | lost) - names

    def _examine(self, names: Iterable[str]) -> None:
        """Notice what the entries tell of each other; a writer who is two becomes another one here."""
        chains = examine(self.catalogue.links())
        self.catalogue.note(MISSING, missing_in_words(chains, names))
        self.catalogue.note(NOTICED, noticed_in_words(chains))
        if any(fork.writer == self.log.writer for fork in chains.forks):
            self.log.split("Another copy of this archive has written under the id of this one.")

    def _notice(self, held: Held, on: Mapping[str, Mapping[str, Folder]], gone: set[str]) -> None:
        """Put down what lies in the journal and is no entry, and entries that ought to lie there."""
        told = self.catalogue.faults()
        forgotten = self.log.forgotten(held)
        followed = {fault.name[7:23] for fault in told if fault.place == MISSING}
        away = {n for n in (*gone, *([forgotten] if forgotten else ())) if n[-21:-5] not in followed}
        missing = dict(gone_in_words(away))
        if away and "" not in missing:
            missing |= {
                fault.name: fault.message for fault in told if (fault.place, fault.name) == (GONE, "")
            }
        strange = dict(strange_in_words(path for folders in on.values() for path in strangers(folders)))
        for place, said in ((GONE, missing), (STRANGE, strange)):
            if said != {fault.name: fault.message for fault in told if fault.place == place}:
                self.catalogue.note(place, said.items())

    def _sync_holdings(self, volume: Volume, hands: Hands, progress: Progress | None) -> None:
        before = self.catalogue.chains(volume.id)
        self.catalogue.clear_faults(volume.id)
        folders = list(roll_folders(volume.disk))
        self.catalogue.hold(volume.id, [(gone, None, []) for gone in before.keys() - set(folders)])
        for told, faults in read_lists(hands, volume.disk, folders, before, progress):
            self.catalogue.hold(volume.id, told)
            for folder, message in faults:
                self.catalogue.record_fault(volume.id, folder, message)

    def _numbers(self, unnumbered: Sequence[Unnumbered]) -> list[Entry]:
        """Entries that give new sequences their numbers, once and for good: one for each night."""
        by_night: dict[str, list[Unnumbered]] = {}
        for found in unnumbered:
            by_night.setdefault(found.night, []).append(found)
        return [
            self.log.append(Draft(kind="sequence", changes=tuple(map(_numbered, found))))
            for _, found in sorted(by_night.items())
        ]

    def master_bytes(self, frame: Frame) -> bytes:
        """A master's bytes, proven by their digest, from the first mounted volume that has them sound.

        Raises
        ------
        DamagedFileError : when every copy that can be reached is damaged.
        ArchiveError : when no mounted volume has one; it says where copies were last seen.
        """
        mounted = {volume.id: volume for volume in self.mounted}
        trouble: ArchiveError | None = None
        seen = []
        for copy in self.catalogue.copies(frame.id):
            seen.append(self.volume_name(copy.volume))
            volume = mounted.get(copy.volume)
            if volume is None:
                continue
            night, roll, path = copy.path.split("/", 2)
            try:
                return read_master(volume.disk, f"{night}/{roll}", path, frame.id)
            except FileNotFoundError:
                trouble = trouble or ArchiveError(
                    f"{shown(copy.path)} is missing from {shown(volume.name)}: its hash list names it.",
                    hint="Run `noctuary audit`, and take the file from another volume.",
                )
            except ArchiveError as error:
                trouble = error
        if trouble is not None:
            raise trouble
        where = ", ".join(sorted({shown(name) for name in seen})) or "no volume known here"
        raise ArchiveError(
            f"The master {shown(frame.name)} is not on a mounted volume: it was last seen on {where}.",
            hint="Nothing was changed. Mount that volume where it was, or name it with --also.",
        )

    def address_of(self, frame: Frame) -> str | None:
        """How people name a frame of a sequence; None outside sequences."""
        return address_among(frame, self.catalogue.cameras())

    # -- the whole anew ------------------------------------------------------------------------

    def empty(self) -> None:
        """Give up the catalogue and begin an empty one.

        What volumes held that are not mounted cannot be read again now: where the old catalogue still tells
        it, it is kept.
        """
        try:
            self.catalogue.clear(volumes=[volume.id for volume in self.mounted])
        except CatalogueError as error:
            if not error.spoiled:
                raise
            self.catalogue.close()
            discard_database(self._database)
            self.catalogue = Catalogue(open_database(self._database))

    def _made_anew(self, progress: Progress | None, *, asked: bool) -> bool:
        """Make another catalogue from journal and hash lists, as the only program that does so now.

        Where nobody ``asked`` for it, and another program made one meanwhile, that is taken instead. False,
        and nothing done, for a catalogue that is no file.
        """
        if not is_file(self._database):
            return False
        # Not held open while another program may be about to put its own in this one's place.
        self.catalogue.close()
        with alone(self._database, self.log.say):
            self.catalogue = self._opened_now(asked)
            if asked or self.catalogue.behind():
                self._make_beside(progress)
                return True
        self.sync(progress)
        return True

    def _make_beside(self, progress: Progress | None) -> None:
        """The old catalogue gives way to the new one when that is whole."""
        old = self.catalogue
        made = begin_anew(self._database, old.engine, [volume.id for volume in self.mounted])
        self.catalogue = made
        try:
            with hands_of_this_machine() as hands:
                self._sync(progress, hands)
            old.close()
            finish_anew(self._database, made)
        except BaseException:
            self.catalogue = old
            give_up_anew(self._database, made)
            raise
        self.catalogue = Catalogue(open_database(self._database))

    def rebuild(self, progress: Progress | None = None) -> RebuildReport:
        """Make the catalogue anew from journal and hash lists; no master is opened."""
        if not self._made_anew(progress, asked=True):
            self.empty()
            self.sync(progress)
        dump = self.catalogue.counts("entry", "roll", "frame", "sequence")
        return RebuildReport(
            entries=dump["entry"],
            rolls=dump["roll"],
            frames=dump["frame"],
            sequences=dump["sequence"],
            faults=tuple(each.message for each in self.catalogue.faults() if each.place not in NOTICES),
            noticed=tuple(each.message for each in self.catalogue.faults() if each.place in NOTICES),
        )

    def faults(self) -> list[Fault]:
        """Entries that are set aside now, read afresh."""
        return [item for item in self.log.read_new(set()) if isinstance(item, Fault)]


def _numbered(found: Unnumbered) -> Change:
    value = {"night": found.night, "camera": found.camera, "number": found.number}
    return Change(subjects=(found.first,), layer="sequence-number", value=value)


def _why(error: ArchiveError | OSError) -> str:
    return error.message if isinstance(error, ArchiveError) else f"{error.strerror or error}."
