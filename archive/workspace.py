"""Opens an archive and wires its parts together: the Python API.

>>> with open_archive("NightArchive") as archive:  # doctest: +SKIP
...     archive.ingest.take([Path("/media/CARD")])
"""

from __future__ import annotations

import getpass
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from functools import cached_property, partial
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from archive.catalogue.books import Books
from archive.catalogue.finding import MOST_COUNTED
from archive.catalogue.lineage import bare_standings, contested_frames, derivatives
from archive.catalogue.registers import address_among
from archive.catalogue.resolve import find, find_one, find_sequence
from archive.custody.devices import other_volumes
from archive.custody.part import Custody
from archive.editing.describing import describe_operators
from archive.editing.levelling import LevellingStatements
from archive.editing.queries import Queries
from archive.editing.recipes import Recipes
from archive.editing.sequences import Sequencing
from archive.editing.statements import Statements
from archive.editing.takeback import TakingBack
from archive.editing.texts import Texts
from archive.engine.foundation import current_foundation
from archive.errors import ArchiveError, shown
from archive.exports.specs import specs
from archive.ingest.part import Ingest
from archive.journal.log import Log
from archive.model.capture import Frame
from archive.model.editing import Comparison
from archive.model.erasing import EraseAnswer
from archive.model.listing import (
    FoundFrames,
    FrameLine,
    NightLine,
    SequenceLine,
    Story,
)
from archive.model.product import Spec
from archive.model.survey import Basis, LevellingReport, Region
from archive.model.uniting import UniteReport
from archive.store import userplace
from archive.store.archives import locate, new_archive, new_volume
from archive.store.mounts import remembered_volumes
from archive.store.targets import check_outside, check_target, new_target, write_target
from archive.store.volumes import Volume, open_volume
from archive.survey.courses import Courses
from archive.survey.skies import Skies

if TYPE_CHECKING:
    from archive.editing.optics import Optics
    from archive.exports.part import Exports
    from archive.survey.part import Survey

__all__ = [
    "Workspace",
    "check_outside",
    "check_target",
    "describe_operators",
    "list_specs",
    "locate",
    "new_archive",
    "new_target",
    "new_volume",
    "open_archive",
    "write_target",
]


def open_archive(
    folder: Path | str | None = None,
    *,
    also: Sequence[Path | str] = (),
    person: str | None = None,
    anew: bool = False,
) -> Workspace:
    """Open the archive in a folder, with other volumes of it beside.

    Parameters
    ----------
    folder : a volume of the archive; None finds it as the command does.
    also : further volumes to write; an empty or new folder becomes one. Those that were named before and lie
        where they did are found by themselves: they are read, and get the journal, but no cards.
    person : who decides, as written into the journal; by default the user's login name.
    anew : give up the catalogue that is there, readable or not; the workspace's ``custody.rebuild`` makes
        another.

    Raises
    ------
    ArchiveError : when there is no archive, or a further volume belongs to another one.
    """
    home = open_volume(locate(folder))
    volumes = [home]
    for path in also:
        root = Path(path)
        if not root.exists() or (root.is_dir() and not any(root.iterdir())):
            volume = new_volume(root, home.mark.archive)
        else:
            volume = open_volume(root)
        if volume.mark.archive != home.mark.archive:
            raise ArchiveError(
                f"{shown(str(root))} is a volume of another archive.",
                hint="Nothing was changed. Unite the two archives first, or name another folder.",
            )
        if volume.id not in {each.id for each in volumes}:
            volumes.append(volume)
    for volume in volumes:
        userplace.remember_mount(home.mark.archive, volume.id, volume.root)
    beside = remembered_volumes(home.mark.archive, but={volume.id for volume in volumes})
    return Workspace(volumes, shown(person or _login())[:200], beside=beside, anew=anew)


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return ""


def list_specs() -> tuple[Spec, ...]:
    """The export specs that every archive starts with."""
    return specs()


class Workspace:
    """One open archive and its parts."""

    def __init__(
        self, volumes: Sequence[Volume], person: str, *, beside: Sequence[Volume] = (), anew: bool = False
    ) -> None:
        home = volumes[0]
        archive_id = home.mark.archive
        log = Log(
            [volume.disk for volume in volumes],
            guards=[volume.disk for volume in sorted(volumes, key=lambda volume: volume.id)],
            writer=userplace.writer_of(archive_id, home.id),
            person=person,
        )
        database = userplace.database_url(archive_id)
        self.books = Books(volumes, log, database, beside=beside, anew=anew)
        self.ingest = Ingest(self.books, person)
        self.books.catch_up()
        if not anew:
            held = self._rolls_held()
            self.books.sync()
            # Raw and JPEG of one exposure may have come by another volume, or from another archive.
            if held:
                self.ingest.pair(self._rolls_held() - held)
        self.statements = Statements(self.books)
        self.queries = Queries(self.books)
        self.sequencing = Sequencing(self.books)
        self.levelling = LevellingStatements(self.books)
        self.recipes = Recipes(self.books, current_foundation())
        self.texts = Texts(self.recipes.bench)
        self.taking_back = TakingBack(self.recipes.bench)
        self.custody = Custody(self.books)
        self.skies = Skies(self.books)
        self.courses = Courses(self.books)
        self.recipes.ramps.brightness_of = self.courses.brightness

    def __enter__(self) -> Workspace:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self.books.close()

    @property
    def root(self) -> Path:
        return self.books.home.root

    @cached_property
    def exports(self) -> Exports:
        """Exports and lineage; loaded on first use, because pictures need what listings do not."""
        from archive.exports.part import Exports

        return Exports(self.books)

    @cached_property
    def optics(self) -> Optics:
        """Dark frames and lenses; loaded on first use, because they are measured from pictures."""
        from archive.editing.optics import Optics

        return Optics(self.recipes)

    @cached_property
    def survey(self) -> Survey:
        """Measures of frames, and what they say; loaded on first use for the same reason."""
        from archive.survey.part import Survey

        return Survey(self.books)

    def compare(
        self, name: str, first: str, second: str = "now", *, to: Path | None = None, size: int = 900
    ) -> Comparison:
        """How two states of a frame's recipe differ, as ``recipes.compare``; dark frames are taken off."""
        from archive.exports.darks import master_for

        return self.recipes.compare(
            name, first, second, to=to, size=size, dark=partial(master_for, self.books)
        )

    def level(self, name: str, *, region: Region | None = None, dry_run: bool = False) -> LevellingReport:
        """Level a sequence by what its survey measured; counts in its sets and movies, never in stills."""
        frames, found = self.survey.levels(name, region)
        entry = None
        if not dry_run:
            entry = self.levelling.state(frames, found.stops, region=region, cells=found.cells)
        return self.survey.levelling_told(name, found, entry)

    def rush(self, name: str, target: Path, rate: int = 25) -> Basis:
        """A quick movie of a sequence from its previews, without any recipe; tells what it rests on."""
        from archive.exports.rush import write_rush

        previews = self.survey.previews(name)
        return previews.basis(write_rush(target, previews, Fraction(rate)))

    # -- cards ---------------------------------------------------------------------------------

    def may_erase(
        self,
        source: Path,
        *,
        copies: int = 2,
        within: timedelta = timedelta(days=30),
        progress: Callable[[str, int, int], None] = lambda _stage, _done, _total: None,
    ) -> EraseAnswer:
        """May a card be erased? Reads it and every copy that can be reached; erases nothing.

        ``copies`` is how many different devices must hold each file, proven now or by an audit of the
        span ``within``. Volumes where they were last mounted are found by themselves.

        Raises
        ------
        UsageError : for a source that is no card, or figures that make no sense.
        """
        return self.custody.may_erase(
            self.ingest.reread(source, progress),
            copies=copies,
            within=within,
            also=other_volumes(self.books),
            progress=progress,
        )

    def unite(self, folder: Path, *, different: bool = False) -> UniteReport:
        """As ``custody.unite``; raw and JPEG of one exposure that the two had apart are then one frame."""
        known = set(self.books.catalogue.rolls().values())
        report = self.custody.unite(folder, different=different)
        if report.done:
            self.ingest.pair(set(self.books.catalogue.rolls().values()) - known)
        return report

    def _rolls_held(self) -> set[str]:
        """The rolls that a mounted volume holds, as the catalogue knows it."""
        catalogue = self.books.catalogue
        folders = {folder for volume in self.books.mounted for folder in catalogue.chains(volume.id)}
        return {roll for folder, roll in catalogue.rolls().items() if folder in folders}

    # -- looking -------------------------------------------------------------------------------

    def nights(self) -> list[NightLine]:
        """Every night that is held, with how many of its frames are contested."""
        contested = Counter(frame.night for frame in contested_frames(self.books.catalogue))
        lines = self.books.catalogue.nights()
        return [replace(line, contested=contested[line.night]) for line in lines]

    def sequences(self, night: str | None = None) -> list[SequenceLine]:
        """The sequences of a night, or all, with how many of their frames are contested."""
        which = shown(night) if night else None
        contested = Counter(frame.sequence for frame in contested_frames(self.books.catalogue))
        lines = self.books.catalogue.sequences(which)
        return [replace(line, contested=contested[line.key]) for line in lines]

    def frame(self, name: str) -> Frame:
        return find_one(self.books.catalogue, name)

    def sequence(self, name: str) -> SequenceLine:
        return find_sequence(self.books.catalogue, name)

    def story(self, name: str) -> Story:
        """One frame with its facts, sky, copies, companions, recipe, versions and derivatives."""
        frame = self.frame(name)
        catalogue = self.books.catalogue
        return Story(
            line=self.frame_lines([frame])[0],
            copies=tuple((self.books.volume_name(copy.volume), copy) for copy in catalogue.copies(frame.id)),
            companions=tuple(catalogue.companions(frame.id)),
            recipe=tuple(self.recipe_rows(frame)),
            texts=tuple(self.texts.of(frame).items()),
            made=tuple(derivatives(self.books.catalogue, frame=frame.id)),
            sky=self.skies.frames([frame]).get(frame.id),
            activity=self.skies.activity_at(frame),
            course=self.courses.around(frame),
            versions=tuple(self.recipes.history(frame.id)[1]),
        )

    def recipe_rows(self, frame: Frame, *, in_sequence: bool = False) -> list[tuple[str, str]]:
        """Each step of a frame's effective recipe in words, and the version it comes from."""
        told = self.recipes.why(frame, in_sequence=in_sequence)
        return [
            (source.words, "; ".join([source.origin, *source.ramps]))
            for source in told
            if source.kind != "not applied"
        ]

    def frames(self, name: str) -> list[FrameLine]:
        """The frames that a name finds, with ratings and keywords."""
        return self.frame_lines(find(self.books.catalogue, name).frames)

    def find(self, query: str, limit: int = 50) -> FoundFrames:
        """The first frames that a query asks for, and how many there are up to a bound."""
        matches = self.queries.ask(query, limit)
        return FoundFrames(
            frames=tuple(self.frame_lines(matches.frames)),
            count=min(matches.count, MOST_COUNTED),
            more=matches.more,
        )

    def made_by(self, spec: str) -> list[str]:
        """Paths below the volume of everything that a spec made, oldest first."""
        return [each.path for each in derivatives(self.books.catalogue) if each.spec.name == spec]

    def frame_lines(self, frames: Sequence[Frame]) -> list[FrameLine]:
        """Frames with what people gave them."""
        ids = [frame.id for frame in frames]
        ratings = self.books.catalogue.stated_about(ids, "rating")
        words: dict[str, list[str]] = {}
        for (frame_id, word), on in self.books.catalogue.stated_about(ids, "keyword").items():
            if on:
                words.setdefault(frame_id, []).append(word)
        standing = bare_standings(self.books.catalogue, ids)
        cameras = self.books.catalogue.cameras()
        places = self.books.catalogue.sites_of_rolls(frame.roll for frame in frames)
        return [
            FrameLine(
                frame=frame,
                zone=places[frame.roll].zone if frame.roll in places else None,
                camera=cameras[frame.camera].name if frame.camera in cameras else frame.camera,
                address=address_among(frame, cameras),
                rating=ratings.get((frame.id, ""), 0),
                keywords=tuple(sorted(words.get(frame.id, ()))),
                versions=len(standing[frame.id].own) + len(standing[frame.id].shared),
                contested=standing[frame.id].contested,
            )
            for frame in frames
        ]
