"""The survey as a part of an open archive: measuring, and what the measures say."""

from __future__ import annotations

from collections.abc import Sequence

from archive.catalogue.books import Books
from archive.catalogue.resolve import Found, find
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.survey import SequenceSurvey, SurveyReport
from archive.survey.findings import findings, survey_lines
from archive.survey.records import Seen, seen_of
from archive.survey.run import Progress, run_survey


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
        catalogue = self._books.catalogue
        frames: Sequence[Frame] = find(catalogue, name).frames if name else catalogue.frames()
        return run_survey(self._books, frames, progress=progress)

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

    def _told(self, name: str, frames: Sequence[Frame]) -> SequenceSurvey:
        held = seen_of(self._books, frames)
        pairs = [(frame, held[frame.id].surveyed.measures) for frame in frames if frame.id in held]
        lines = survey_lines(pairs)
        site = self._books.catalogue.sites_of_rolls().get(frames[0].roll)
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
