"""Taking cards into an archive."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import archive
from archive.catalogue.books import Books
from archive.catalogue.holdings import copies_of
from archive.errors import ArchiveError, UsageError, shown
from archive.ingest.card import looked_at
from archive.ingest.closing import close_unfinished
from archive.ingest.pairing import pairings, pairings_of
from archive.ingest.readying import LeftOut, make_ready
from archive.ingest.rereading import reread_card
from archive.ingest.run import take_cards
from archive.ingest.setting import Listed, Outcome, Progress, Setting, stamp
from archive.ingest.transfer import Engine
from archive.ingest.troubles import cannot_write
from archive.ingest.unfinished import unfinished_on
from archive.model.entry import Draft
from archive.model.erasing import CardReading
from archive.model.place import Site
from archive.model.results import ClosingReport, FileNote, IngestReport, TakenFile, VolumeResult
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
        ArchiveError : when no volume can be written, or the only card was refused. One of several that
            cannot is left out, and told.
        """
        for source in sources:
            self._check(source)
        reports = []
        books = self._books
        with self._locked() as left:
            engine = Engine()
            lost: dict[str, ArchiveError] = {}
            started = stamp()
            before = {line.address for line in books.catalogue.sequences()}
            for source, result in self._taken(
                sources, lambda: self._setting(site, card, camera_name, progress, engine, lost)
            ):
                if isinstance(result, Outcome):
                    result.waiting += [each.said for each in left]
                    report = self._report(source, result, before, card=card, started=started)
                    reports.append(report)
                    before.update(reports[-1].sequences)
                elif len(sources) == 1:
                    raise result
                else:
                    reports.append(_refused(source, result))
                told(reports[-1])
        return reports

    def close_unfinished(self, *, progress: Progress = lambda _stage, _done, _total: None) -> ClosingReport:
        """End the ingests whose cards are gone: list and state what lies proven, tell what is missing.

        Nothing is copied, and no file is removed but the records of these ingests.

        Raises
        ------
        ArchiveError : when no volume can be written.
        """
        with self._locked() as left:
            begun = self.unfinished()
            with self._naming_home():
                outcome = close_unfinished(self._setting(None, None, None, progress, Engine(), {}))
                self._books.sync()
            return ClosingReport(
                begun=tuple(begun),
                rolls=tuple(outcome.rolls),
                failed=tuple(outcome.failed),
                completed=tuple(outcome.completed),
                waiting=(*outcome.waiting, *(each.said for each in left)),
                volumes=self._graded(outcome),
            )

    @contextmanager
    def _locked(self) -> Iterator[list[LeftOut]]:
        """Every volume writable, locked, tidied, and knowing the others; gives those that cannot be."""
        books = self._books
        with ExitStack() as locks:
            yield make_ready(books, locks)

    @contextmanager
    def _naming_home(self) -> Iterator[None]:
        """An error of the system is told as the home volume's: of several, others were left one by one."""
        try:
            yield
        except BrokenPipeError:
            # Whoever listened to the progress is gone; no volume has failed.
            raise
        except OSError as error:
            raise cannot_write(self._books.home, error) from error

    def _taken(
        self, sources: Sequence[Path], setting: Callable[[], Setting]
    ) -> Iterator[tuple[Path, Outcome | ArchiveError]]:
        with self._naming_home():
            yield from take_cards(sources, setting)

    def _graded(self, outcome: Outcome) -> tuple[VolumeResult, ...]:
        return tuple(
            VolumeResult(name=self._books.volume_name(volume), grade=str(grade))
            for volume, grade in sorted(outcome.grades.items())
        )

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
        with self._naming_home():
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
            volumes=self._graded(outcome),
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
        looked_at(source)
        inside = find_volume(source)
        around = [v for v in self._books.volumes if v.root.is_relative_to(source.resolve())]
        if inside is not None or around:
            raise UsageError(
                f"{shown(str(source))} is part of an archive, not a card.",
                hint="Nothing was changed. To bring two archives together, unite them.",
            )

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
        return [each.record.started for each in unfinished_on(self._books.volumes)]


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
