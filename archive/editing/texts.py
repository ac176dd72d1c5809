"""Texts of frames: title, caption, note, creator, rights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from archive.catalogue.resolve import find
from archive.editing.bench import NOTHING, Bench
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.entry import TEXT, TEXTS, Change, Draft

MOST = 4000
"""Characters that a text may have."""


class Texts:
    """What is written about frames; title, caption (description), creator and rights as IPTC means them."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def of(self, frame: Frame) -> dict[str, str]:
        """The texts of a frame, in their order."""
        stated = self._bench.books.catalogue.stated_about([frame.id], TEXT)
        held = {line: value for (_, line), value in stated.items()}
        return {name: held[name] for name in TEXTS if held.get(name)}

    def write(self, names: Sequence[str], texts: Mapping[str, str]) -> list[Frame]:
        """Give frames these texts; an empty one takes a text off. Answers the frames that it changed.

        What is said already is not stated again.

        Raises
        ------
        UsageError : for a text of another name or too long, none at all, or a name that finds nothing.
        """
        for name, text in texts.items():
            if name not in TEXTS:
                raise UsageError(
                    f"{shown(name)} is no text.", hint=f"{NOTHING} They are: {', '.join(TEXTS)}."
                )
            if len(text.strip()) > MOST:
                raise UsageError(f"A {name} has at most {MOST} characters.", hint=NOTHING)
        if not texts:
            raise UsageError("There is no text to write.", hint=f"{NOTHING} Say --{' or --'.join(TEXTS)}.")
        catalogue = self._bench.books.catalogue
        frames = {frame.id: frame for name in names for frame in find(catalogue, name).frames}
        held = catalogue.stated_about(list(frames), TEXT)
        changed: set[str] = set()
        for night in sorted({frame.night for frame in frames.values()}):
            changes = []
            for name, text in texts.items():
                value = text.strip() or None
                subjects = [
                    frame.id
                    for frame in frames.values()
                    if frame.night == night and held.get((frame.id, name)) != value
                ]
                changed.update(subjects)
                if subjects:
                    changes.append(Change(subjects=tuple(subjects), layer=TEXT, line=name, value=value))
            if changes:
                self._bench.state(Draft(kind="text", changes=tuple(changes)))
        return [frame for frame in frames.values() if frame.id in changed]
