"""Taking cards into an archive."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import archive
from archive.catalogue.books import Books
from archive.catalogue.holdings import copies_of
from archive.errors import ArchiveError, UsageError, shown
from archive.ingest.lane import cannot_write
from archive.ingest.pairing import pairings, pairings_of
from archive.ingest.rereading import reread_card
from archive.ingest.run import take_cards
from archive.ingest.setting import Listed, Outcome, Progress, Setting, stamp
from archive.ingest.transfer import Engine
from archive.ingest.unfinished import read_unfinished
from archive.journal.uniting import unite
from archive.model.entry import Change, Draft
from archive.model.erasing import CardReading
from archive.model.place import Site
from archive.model.results import FileNote, IngestReport, TakenFile, VolumeResult
from archive.store.durable import tidy
from archive.store.ports import Disk
from archive.store.volumes import Volume, find_volume


class Ingest:
    """Cards into every volume of one archive."""

    def __init__(self, books: Books, person: str) -> None:
        self._books = books
        self._person = person

    def take(
        self,
        sources: Sequence[Path],
        *,
        site: Site | None = None,
        card: str | None = None,
        camera_name: str | None = None,
        progress: Progress = lambda _stage, _done, _total: None,
        told: Callable[[IngestReport], None] = lambda _report: None,
    ) -> list[IngestReport]:
        """Take in one or more cards; one that fails does not stop the others.

        Cards on different devices are copied at the same time. ``told`` gets the reports in the order
        of ``sources``.

        Raises
        ------
        UsageError : for a source that is no folder, or lies in an archive.
        ArchiveError : when a volume cannot be written, or the only card was refused.
        """
        for source in sources:
            self._check(source)
        reports = []
        books = self._books
        with ExitStack() as locks:
            # In one order for everyone: two programs that share volumes never wait for each other.
            for volume in sorted(books.volumes, key=lambda volume: volume.id):
                self._writable(volume)
                locks.enter_context(volume.disk.lock("ingest", "An ingest"))
            for volume in books.volumes:
                tidy(volume.disk, "ingest")
            books.sync()
            self._acquaint()
            engine = Engine()
            lost: dict[str, ArchiveError] = {}
            started = stamp()
            before = {line.address for line in books.catalogue.sequences()}
            for source, result in take_cards(
                sources, lambda: self._setting(site, card, camera_name, progress, engine, lost)
            ):
                if isinstance(result, Outcome):
                    report = self._report(source, result, before, card=card, started=started)
                    reports.append(report)
                    before.update(reports[-1].sequences)
                elif len(sources) == 1:
                    raise result
                else:
                    reports.append(_refused(source, result))
                told(reports[-1])
        return reports

    def _setting(
        self,
        site: Site | None,
        card: str | None,
        camera_name: str | None,
        progress: Progress,
        engine: Engine,
        lost: dict[str, ArchiveError],
    ) -> Setting:
        books = self._books

        def leave(volume: Volume, error: ArchiveError) -> None:
            books.leave(volume)
            lost[volume.id] = error

        def unwritable(disk: Disk, error: OSError) -> None:
            volume = next(each for each in books.volumes if each.disk is disk)
            leave(volume, cannot_write(volume, error))

        books.log.lost = unwritable
        return Setting(
            volumes=books.volumes,
            cameras=books.catalogue.cameras(),
            clocks=books.catalogue.clocks,
            site=site,
            held=books.catalogue.held_sizes(),
            copies=lambda digest: [(copy.volume, copy.path) for copy in books.catalogue.copies(digest)],
            known_rolls=set(books.catalogue.rolls().values()),
            files_of=self._files_of,
            person=self._person,
            tool_version=archive.__version__,
            state=self._state,
            leave=leave,
            lost=lost,
            card=shown(card) if card else None,
            camera_name=camera_name,
            progress=progress,
            engine=engine,
        )

    def _state(self, draft: Draft) -> None:
        """State what an ingest has to say; first what it pairs, so that no frame is a moment on its own."""
        if draft.kind == "ingest":
            for pairing in pairings(self._books.catalogue, draft):
                self._books.state(pairing)
        self._books.state(draft)

    def pair(self, rolls: Iterable[str]) -> None:
        """State what these rolls pair with others; for those that came with another archive's entries.

        Frames whose masters no volume known here holds are left as they are: a raw file that is out of reach
        must not take the place of a JPEG that is here.
        """
        catalogue = self._books.catalogue
        digests = [digest for roll in rolls for digest, _, _ in catalogue.files_of_roll(roll).values()]
        frames = catalogue.frames_by_id(list(copies_of(catalogue, digests)))
        for pairing in pairings_of(catalogue, frames.values()):
            self._books.state(pairing)

    def _files_of(self, roll: str) -> dict[str, Listed]:
        stated = self._books.catalogue.files_of_roll(roll)
        return {path: Listed(digest=d, size=size, modified=m) for path, (d, size, m) in stated.items()}

    def _report(
        self, source: Path, outcome: Outcome, before: set[str], *, card: str | None, started: str
    ) -> IngestReport:
        books = self._books
        books.sync()
        after = [line.address for line in books.catalogue.sequences()]
        return IngestReport(
            source=str(source),
            copied=outcome.copied,
            copied_size=outcome.copied_size,
            held=tuple(outcome.held),
            ignored=tuple(outcome.ignored),
            failed=tuple(outcome.failed),
            remarks=tuple(outcome.remarks),
            damaged=tuple(outcome.damaged),
            completed=tuple(outcome.completed),
            rolls=tuple(outcome.rolls),
            volumes=tuple(
                VolumeResult(name=books.volume_name(volume), grade=str(grade))
                for volume, grade in sorted(outcome.grades.items())
            ),
            sequences=tuple(address for address in after if address not in before),
            waiting=tuple(outcome.waiting),
            histories=outcome.histories,
            files=tuple(self._with_places(outcome)),
            card=card,
            person=self._person,
            started=started,
            ended=stamp(),
        )

    def _with_places(self, outcome: Outcome) -> Iterator[TakenFile]:
        """The files of a card with where they lie, as the volumes' own hash lists say now."""
        copies = copies_of(self._books.catalogue, [file.digest for file in outcome.taken])
        for file in outcome.taken:
            found = copies.get(file.digest, [])
            names = sorted({self._books.volume_name(copy.volume) for copy in found})
            kept = file.kept or (found[0].path if found else "")
            yield replace(file, kept=kept, volumes=tuple(names))

    def _check(self, source: Path) -> None:
        """A source that is in an archive, or has one in it, would be copied into itself."""
        if not source.exists():
            raise UsageError(
                f"There is nothing at {shown(str(source))}.",
                hint="Nothing was changed. Check the path, and that the card is in its reader.",
            )
        inside = find_volume(source)
        around = [v for v in self._books.volumes if v.root.is_relative_to(source.resolve())]
        if inside is not None or around:
            raise UsageError(
                f"{shown(str(source))} is part of an archive, not a card.",
                hint="Nothing was changed. To bring two archives together, unite them.",
            )

    def _writable(self, volume: Volume) -> None:
        try:
            writing = volume.disk.begin("incoming/ingest-trial.part")
            writing.abandon()
        except FileExistsError:
            volume.disk.remove("incoming/ingest-trial.part")
        except OSError as error:
            raise ArchiveError(
                f"{shown(volume.name)} at {shown(str(volume.root))} cannot be written: {error.strerror}.",
                hint="Nothing was changed, the card was not read. Mount the volume writable.",
            ) from error

    def _acquaint(self) -> None:
        """Volumes written together carry the same journal, and the archive knows their names."""
        books = self._books
        for volume in books.volumes[1:]:
            unite(books.home.disk, volume.disk, compare=False)
            unite(volume.disk, books.home.disk, compare=False)
        books.sync()
        for volume in books.volumes:
            stated = books.catalogue.stated(f"volume:{volume.id}", "volume") or {}
            # What else is known of a volume, such as its device, stands.
            value = {**stated, "name": volume.name, "created": volume.mark.created}
            if stated != value:
                change = Change(subjects=(f"volume:{volume.id}",), layer="volume", value=value)
                books.state(Draft(kind="volume", changes=(change,)))

    def reread(self, source: Path, progress: Progress = lambda _stage, _done, _total: None) -> CardReading:
        """Read a card whole without copying anything: what :meth:`Custody.may_erase` judges.

        Raises
        ------
        UsageError : for a source that is no folder, or lies in an archive.
        """
        self._check(source)
        return reread_card(source, progress)

    def unfinished(self) -> list[str]:
        """When the ingests began that wait for their card."""
        return [record.started for record in read_unfinished(self._books.home.disk).values()]


def _refused(source: Path, error: ArchiveError) -> IngestReport:
    """What is told of a card that could not be taken in while others were."""
    note = FileNote(path=shown(str(source)), text=str(error))
    return IngestReport(
        source=str(source),
        copied=0,
        copied_size=0,
        held=(),
        ignored=(),
        failed=(note,),
        remarks=(),
        rolls=(),
        volumes=(),
    )
