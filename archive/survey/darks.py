"""Dark frames that fit other frames, found by what the survey saw of them. Loads no pictures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from statistics import median

from archive.catalogue.books import Books
from archive.model.capture import Frame
from archive.model.survey import DarksFound, Measures
from archive.survey.records import seen_of

MOST = 64
"""Dark frames that are offered, at most."""
_NIGHTS = 30
# Sky, however dark, gives more light than this in the time that its frames were exposed for; a covered lens
# leaves all but a glowing corner below it.
_DARK = 2.0**-8


def find_darks(books: Books, frames: Sequence[Frame]) -> DarksFound:
    """The dark frames of the night nearest to these frames that has any; those nearest in time first chosen.

    They are of the same camera, exposure, sensitivity and size as the first frame, and were surveyed.
    """
    first = frames[0]
    own = {frame.id for frame in frames}
    unseen = 0
    for night in _nearest(books, first.night):
        alike = [
            frame
            for frame in books.catalogue.frames(night=night, camera=first.camera)
            if frame.settings == first.settings and frame.id not in own
        ]
        seen = seen_of(books, alike)
        unseen += len(alike) - len(seen)
        dark = [frame for frame in alike if frame.id in seen and is_dark(seen[frame.id].surveyed.measures)]
        if dark:
            near = sorted(dark, key=lambda frame: abs(frame.taken - first.taken))[:MOST]
            found = tuple(sorted(near, key=lambda frame: (frame.taken, frame.path)))
            return DarksFound(frame=first.name, night=night, frames=found, unseen=unseen)
    return DarksFound(frame=first.name, night=None, frames=(), unseen=unseen)


def is_dark(measures: Measures) -> bool:
    """Whether a frame was taken with the lens covered, as far as its cells of light tell."""
    return all(
        median(each) < _DARK for each in (measures.cells.red, measures.cells.green, measures.cells.blue)
    )


def _nearest(books: Books, night: str) -> list[str]:
    """Nights that are held, the nearest first."""
    when = date.fromisoformat(night)
    nights = [line.night for line in books.catalogue.nights()]
    return sorted(nights, key=lambda each: (abs(date.fromisoformat(each) - when), each))[:_NIGHTS]
