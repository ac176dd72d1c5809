"""Looking back: a frame's versions, what each changed, and notes on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from archive.catalogue.lineage import lines_of, selection_of, standings, versions_of
from archive.editing.bench import NOTHING, Bench, version_named
from archive.engine import operator
from archive.errors import UsageError, shown
from archive.journal.current import heads
from archive.journal.wording import changes_in_words
from archive.model.capture import Frame, Selection
from archive.model.editing import Saved
from archive.model.entry import OWN, RECIPE_NOTE, SHARED, Change, Draft, Version
from archive.model.identity import FrameId, short
from archive.model.listing import HistoryLine


class History:
    """What was saved before."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def versions(self, frame: Frame, line: str | None = None) -> list[Version]:
        """Every version of a frame, oldest first, on one line or on all."""
        catalogue = self._bench.books.catalogue
        names = [line] if line else lines_of(catalogue, [frame.id])
        found = [v for name in names for v in versions_of(catalogue, [frame.id], name)[frame.id]]
        return sorted(found, key=lambda version: (version.counter, version.entry))

    def of(self, name: str, *, line: str | None = None) -> tuple[Frame, list[HistoryLine]]:
        """A frame's versions, newest first, each with what it changed and the notes on it."""
        frame = self._bench.one(name)
        versions = self.versions(frame, line)
        notes = self._bench.books.catalogue.stated_about(
            sorted({version.entry for version in versions}), RECIPE_NOTE
        )
        called = self._bench.line_names([frame.id])
        by_entry = {(version.layer, version.entry): version for version in versions}
        current = {
            (version.layer, version.line, version.entry)
            for layer, line_name in {(v.layer, v.line) for v in versions}
            for version in heads(v for v in versions if (v.layer, v.line) == (layer, line_name))
        }
        lines = []
        for version in reversed(versions):
            older = (by_entry.get((version.layer, entry)) for entry in version.builds_on)
            replaced = max((v for v in older if v), key=lambda v: (v.counter, v.entry), default=None)
            words = changes_in_words(
                replaced.recipe if replaced else None, version.recipe, operator.describe_change
            )
            lines.append(
                HistoryLine(
                    version=version,
                    current=(version.layer, version.line, version.entry) in current,
                    words=tuple(words),
                    later_note=notes.get((version.entry, "")) or "",
                    line=called.get(version.line, version.line),
                )
            )
        return frame, lines

    def changes(self, name: str, older: str, newer: str | None = None) -> tuple[str, ...]:
        """What differs between two versions, in words; ``newer`` is the current one unless it is named."""
        frame = self._bench.one(name)
        versions = self.versions(frame)
        first = version_named(versions, older)
        if newer is not None:
            second = version_named(versions, newer)
        else:
            alike = [v for v in versions if (v.layer, v.line) == (first.layer, first.line)]
            second = heads(alike)[0]
        return tuple(changes_in_words(first.recipe, second.recipe, operator.describe_change))

    def note(self, name: str, version: str, text: str) -> Saved:
        """State a note on a version; the version itself stays as it was written.

        Raises
        ------
        UsageError : when no version of the frame has that id, or the note is longer than 4000 characters.
        """
        frame = self._bench.one(name)
        chosen = version_named(self.versions(frame), version)
        text = text.strip()
        if len(text) > 4000:
            raise UsageError("A note has at most 4000 characters.", hint=NOTHING)
        catalogue = self._bench.books.catalogue
        if (catalogue.stated(chosen.entry, RECIPE_NOTE) or "") == text:
            return Saved(frame=frame, entry=None, words=(), version=False)
        change = Change(subjects=(chosen.entry,), layer=RECIPE_NOTE, value=text)
        entry = self._bench.state(Draft(kind="recipe", changes=(change,)))
        what = f"noted on version {short(chosen.entry)}: {shown(text)}" if text else "the note was taken off"
        return Saved(frame=frame, entry=entry, words=(what,), version=False)

    def shared_version(self, frames: Sequence[Frame], start: str) -> list[tuple[Version, list[Frame]]]:
        """A version that frames share or shared, and those of them that it speaks about.

        One entry may give parts of a run versions of their own: each comes with its frames.

        Raises
        ------
        UsageError : when none of them ever shared a version whose id begins like this.
        """
        catalogue = self._bench.books.catalogue
        ids = [frame.id for frame in frames]
        known = {frame.id: frame for frame in frames}
        found = [
            (frame, version)
            for line in lines_of(catalogue, ids)
            for frame, listed in versions_of(catalogue, ids, line).items()
            for version in listed
            if version.layer == SHARED
        ]
        chosen = version_named([version for _, version in found], start).entry
        parts: dict[str | None, tuple[Version, list[Frame]]] = {}
        for frame, version in found:
            if version.entry == chosen:
                parts.setdefault(version.selection, (version, []))[1].append(known[FrameId(frame)])
        return list(parts.values())

    def along(self, version: Version) -> Mapping[str, Selection]:
        """The selections that a version speaks about and that its ramps run along."""
        names = {version.selection, *(ramp.along for ramp in version.recipe.ramps)}
        catalogue = self._bench.books.catalogue
        return {name: selection_of(catalogue, name) for name in sorted(n for n in names if n)}

    def newest(self, frame: Frame, line: str) -> Version | None:
        """The newest own version on a line, else the newest shared one."""
        standing = standings(self._bench.books.catalogue, [frame.id], line)[frame.id]
        found = [v for v in (*standing.own, *standing.shared) if v.line == line]
        own = [v for v in found if v.layer == OWN]
        return next(iter(own or found), None)
