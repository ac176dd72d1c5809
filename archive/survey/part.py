"""The survey as a part of an open archive: measuring, and what the measures say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from archive.catalogue.books import Books
from archive.catalogue.resolve import Found, find
from archive.engine.levelling import LEAST_FRAMES, Levelled, level
from archive.engine.surveyor import Picture
from archive.errors import ArchiveError, UsageError, counted, shown
from archive.model.capture import Frame
from archive.model.clocks import ClockCheck
from archive.model.survey import (
    Basis,
    DarksFound,
    LevellingReport,
    SequenceSurvey,
    Suggestions,
    SurveyReport,
)
from archive.survey.backlog import named_frames, whole_archive
from archive.survey.clock_checking import check_clocks
from archive.survey.courses import gain_stops
from archive.survey.darks import find_darks
from archive.survey.findings import findings, survey_lines
from archive.survey.keograms import Keogram, make_keogram
from archive.survey.pictures import preview_picture
from archive.survey.records import Seen, seen_of
from archive.survey.run import Progress, run_survey
from archive.survey.suggesting import suggest


class Previews:
    """The previews of frames in order; those that are damaged or missing are left out, and counted."""

    def __init__(self, books: Books, seen: Sequence[Seen], basis: Basis) -> None:
        self._books = books
        self._seen = seen
        self._basis = basis
        self._unusable = 0

    def __iter__(self) -> Iterator[Picture]:
        self._unusable = 0
        for seen in self._seen:
            try:
                picture = preview_picture(self._books, seen)
            except ArchiveError:
                self._unusable += 1
            else:
                yield picture

    def basis(self, used: int) -> Basis:
        """What a product rests on that used so many of all that came."""
        unlike = len(self._seen) - self._unusable - used
        return replace(self._basis, unusable=self._unusable, unlike=unlike)


class Survey:
    """Measures frames, and answers from what was measured; masters need not be at hand for the answers."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def run(self, name: str | None = None, *, progress: Progress) -> SurveyReport:
        """Measure what a name finds, by default everything, where it was not measured before.

        Raises
        ------
        UsageError : when the name finds nothing.
        ArchiveError : when a volume cannot be written.
        """
        books = self._books
        parts = named_frames(books, find(books.catalogue, name).frames) if name else whole_archive(books)
        return run_survey(books, parts, progress=progress)

    def told(self, name: str) -> tuple[SequenceSurvey, ...]:
        """What the survey says of a sequence, or of each camera's frames in a night.

        Raises
        ------
        UsageError : when the name finds nothing.
        """
        found = find(self._books.catalogue, name)
        groups: dict[str, list[Frame]] = {}
        for frame in found.frames:
            groups.setdefault(frame.sequence or "", []).append(frame)
        if len(groups) > 1:
            # Test shots and single pictures make no row that anything could be told from.
            groups.pop("", None)
        told = [self._told(self._name(frames[0], name), frames) for frames in groups.values()]
        return tuple(told)

    def keogram(self, name: str, *, plain: bool = False) -> Keogram:
        """The keogram of a sequence or of a camera's night; ``plain`` without axis, a pixel a step.

        Raises
        ------
        UsageError : when nothing of it was surveyed, or it is of several cameras.
        """
        found, pairs = self._of_one_camera(name)
        line = found.sequence
        title = f"{line.address}  {line.title}".strip() if line else name
        return make_keogram(
            self._books,
            pairs,
            line.cadence_s if line else None,
            shown(title),
            _basis(name, found, pairs),
            plain=plain,
        )

    def levels(
        self, name: str, region: tuple[float, float, float, float] | None = None
    ) -> tuple[list[Frame], Levelled]:
        """The frames of a sequence and what levelling would add to each; nothing is stated.

        Raises
        ------
        UsageError : when the name is of several cameras, of too few frames, or not surveyed throughout.
        """
        found, pairs = self.surveyed(name)
        if len({frame.camera for frame, _ in pairs}) > 1 or len({seen.size for _, seen in pairs}) > 1:
            raise UsageError(
                f"{shown(name)} is no one view of one camera.",
                hint="Nothing was changed. Name a sequence, or a part of one.",
            )
        if len(found.frames) < LEAST_FRAMES:
            raise UsageError(
                f"{shown(name)} has {counted(len(found.frames), 'frame')}; levelling needs at least "
                f"{LEAST_FRAMES}.",
                hint="Nothing was changed. Name a sequence, or a longer part of one.",
            )
        if len(pairs) < len(found.frames):
            raise UsageError(
                f"{len(pairs)} of {len(found.frames)} frames of {shown(name)} are surveyed; "
                "levelling needs all.",
                hint=f"Nothing was changed. Run `noctuary survey {shown(name)}` first.",
            )
        frames = [frame for frame, _ in pairs]
        cells = [seen.surveyed.measures.cells for _, seen in pairs]
        return frames, level(cells, [gain_stops(frame.facts) for frame in frames], region)

    def levelling_told(self, name: str, found: Levelled, entry: str | None) -> LevellingReport:
        """What levelling found, for people."""
        return LevellingReport(
            name=name,
            frames=len(found.stops),
            flicker=round(found.flicker, 4),
            largest=max(found.stops, key=abs),
            jumps=tuple(jump + 1 for jump in found.jumps),
            cells=found.cells,
            entry=entry,
        )

    def suggest(self, name: str, count: int = 5) -> Suggestions:
        """The strongest frames of a sequence for a still, each with its reasons.

        Raises
        ------
        UsageError : when nothing of it was surveyed, or it is of several cameras.
        """
        found, pairs = self._of_one_camera(name)
        lines = survey_lines([(frame, seen.surveyed.measures) for frame, seen in pairs])
        return Suggestions(found=suggest(lines, count), basis=_basis(name, found, pairs))

    def find_darks(self, name: str) -> DarksFound:
        """Dark frames that fit what a name finds, as far as frames were surveyed.

        Raises
        ------
        UsageError : when the name finds nothing.
        """
        return find_darks(self._books, find(self._books.catalogue, name).frames)

    def check_clocks(self, night: str | None = None) -> ClockCheck:
        """What brightness says of the cameras' clocks in a night, by default the last one held.

        Raises
        ------
        UsageError : when there is no such night, or nothing of it was surveyed.
        """
        held = [line.night for line in self._books.catalogue.nights()]
        if night is None and not held:
            raise UsageError(
                "No night is held here yet.", hint="Take a card in with `noctuary ingest FOLDER`."
            )
        return check_clocks(self._books, night or held[-1])

    def previews(self, name: str) -> Previews:
        """The previews of a sequence in order; those that are damaged or missing are left out, and counted.

        Raises
        ------
        UsageError : when nothing of it was surveyed, or it is of several cameras.
        """
        found, pairs = self._of_one_camera(name)
        return Previews(self._books, [seen for _, seen in pairs], _basis(name, found, pairs))

    def surveyed(self, name: str) -> tuple[Found, list[tuple[Frame, Seen]]]:
        """Frames in order with what was surveyed of them.

        Raises
        ------
        UsageError : when the name finds nothing, or none of it was surveyed.
        """
        found = find(self._books.catalogue, name)
        held = seen_of(self._books, found.frames)
        pairs = [(frame, held[frame.id]) for frame in found.frames if frame.id in held]
        if not pairs:
            raise UsageError(
                f"Nothing of {shown(name)} was surveyed yet.",
                hint=f"Nothing was made. Run `noctuary survey {shown(name)}` first.",
            )
        return found, pairs

    def _of_one_camera(self, name: str) -> tuple[Found, list[tuple[Frame, Seen]]]:
        found, pairs = self.surveyed(name)
        if len({frame.camera for frame, _ in pairs}) > 1:
            raise UsageError(
                f"{shown(name)} has frames of several cameras, and one row of one camera is needed.",
                hint="Nothing was made. Name a sequence, or one camera's night as NIGHT/CAMERA.",
            )
        return found, pairs

    def _told(self, name: str, frames: Sequence[Frame]) -> SequenceSurvey:
        held = seen_of(self._books, frames)
        pairs = [(frame, held[frame.id].surveyed.measures) for frame in frames if frame.id in held]
        lines = survey_lines(pairs)
        site = self._books.catalogue.sites_of_rolls([frames[0].roll]).get(frames[0].roll)
        return SequenceSurvey(
            name=name,
            zone=site.zone if site else None,
            lines=lines,
            findings=findings(lines, [measures for _, measures in pairs]),
            unseen=len(frames) - len(pairs),
        )

    def _name(self, frame: Frame, asked: str) -> str:
        address = self._books.address_of(frame)
        return address.partition("#")[0] if address else asked


def _basis(name: str, found: Found, pairs: Sequence[tuple[Frame, Seen]]) -> Basis:
    return Basis(name=name, frames=len(found.frames), unseen=len(found.frames) - len(pairs))
