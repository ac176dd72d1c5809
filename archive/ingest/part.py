"""Taking cards into an archive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

import archive
from archive.catalogue.books import Books
from archive.errors import ArchiveError, UsageError, shown
from archive.ingest.run import ingest_card, read_unfinished
from archive.ingest.setting import Progress, Setting
from archive.journal.log import unite
from archive.model.entry import Change, Draft
from archive.model.place import Site
from archive.model.results import FileNote, IngestReport, VolumeResult
from archive.store.durable import tidy
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
        """Take in one or more cards, one after another; a card that fails does not stop the others.

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
            for source in sources:
                try:
                    reports.append(self._one(source, site, card, camera_name, progress))
                except ArchiveError as error:
                    if len(sources) == 1:
                        raise
                    reports.append(_refused(source, error))
                told(reports[-1])
        return reports

    def _one(
        self,
        source: Path,
        site: Site | None,
        card: str | None,
        camera_name: str | None,
        progress: Progress,
    ) -> IngestReport:
        books = self._books
        before = {line.address for line in books.catalogue.sequences()}
        outcome = ingest_card(
            source,
            Setting(
                volumes=books.volumes,
                cameras=books.catalogue.cameras(),
                clocks=books.catalogue.clocks,
                site=site,
                held=books.catalogue.held_sizes(),
                known_rolls=set(books.catalogue.rolls().values()),
                person=self._person,
                tool_version=archive.__version__,
                state=lambda draft: void(books.state(draft)),
                card=shown(card) if card else None,
                camera_name=camera_name,
                progress=progress,
            ),
        )
        books.sync()
        outcome.waiting += self._lacking([note.text for note in outcome.held])
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
            rolls=tuple(outcome.rolls),
            volumes=tuple(
                VolumeResult(name=books.volume_name(volume), grade=str(grade))
                for volume, grade in sorted(outcome.grades.items())
            ),
            sequences=tuple(address for address in after if address not in before),
            waiting=tuple(outcome.waiting),
        )

    def _lacking(self, held: Sequence[str]) -> list[str]:
        """What is to be said of volumes that do not hold what was not copied because another holds it."""
        volumes = self._books.volumes
        if len(volumes) < 2:
            return []
        holders = [{copy.volume for copy in self._books.catalogue.copies(digest)} for digest in held]
        counts = {volume.name: sum(volume.id not in each for each in holders) for volume in volumes}
        return [
            f"{count} files that are held already are not on {shown(name)}; they were not copied again"
            for name, count in counts.items()
            if count
        ]

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
            unite(books.home.disk, volume.disk)
            unite(volume.disk, books.home.disk)
        books.sync()
        for volume in books.volumes:
            value = {"name": volume.name, "created": volume.mark.created}
            if books.catalogue.stated(f"volume:{volume.id}", "volume") != value:
                change = Change(subjects=(f"volume:{volume.id}",), layer="volume", value=value)
                books.state(Draft(kind="volume", changes=(change,)))

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


def void(_value: object) -> None:
    """Nothing: for calls whose answer is not wanted."""
