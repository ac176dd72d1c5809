"""How brightness ran along sequences, with exposure settings taken out. Loads no pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from archive.catalogue.books import Books
from archive.catalogue.neighbours import frames_in
from archive.model.capture import CaptureFacts, Frame
from archive.model.listing import Course, SequenceLine
from archive.survey.records import seen_of

MOST_PARTS = 60
"""Parts that a course is told in, at most."""


def gain_stops(facts: CaptureFacts) -> float:
    """By how many stops the settings brighten over 1 s at f/1 and ISO 100; unknown ones count as these."""
    stops = 0.0
    if facts.exposure_s:
        stops += math.log2(facts.exposure_s)
    if facts.iso:
        stops += math.log2(facts.iso / 100)
    if facts.f_number:
        stops -= 2 * math.log2(facts.f_number)
    return stops


class Courses:
    """Courses of brightness of an open archive, from whatever of a sequence was surveyed."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def told(self, lines: Sequence[SequenceLine]) -> list[SequenceLine]:
        """Sequences with their courses, where anything of them was surveyed."""
        frames = frames_in(self._books.catalogue, [line.key for line in lines])
        light = self._light([frame for each in frames.values() for frame in each])
        return [replace(line, course=course(frames[line.key], light)) for line in lines]

    def around(self, frame: Frame) -> Course | None:
        """The course of the sequence that a frame is in, and where in it the frame stands."""
        if frame.sequence is None:
            return None
        frames = self._books.catalogue.frames(sequence=frame.sequence)
        return course(frames, self._light(frames), frame)

    def brightness(self, frames: Sequence[Frame]) -> dict[str, float]:
        """Log2 of mean green light as it was recorded, 0 all clipped, by id of those that were surveyed."""
        seen = seen_of(self._books, frames)
        return {frame: each.surveyed.measures.brightness for frame, each in seen.items()}

    def _light(self, frames: Sequence[Frame]) -> dict[str, float]:
        seen = seen_of(self._books, frames)
        return {
            frame.id: seen[frame.id].surveyed.measures.brightness - gain_stops(frame.facts)
            for frame in frames
            if frame.id in seen
        }


def course(frames: Sequence[Frame], light: dict[str, float], of: Frame | None = None) -> Course | None:
    """The course of frames in order, by their scene light in stops; None where none of it is known."""
    values = [light.get(frame.id) for frame in frames]
    known = [value for value in values if value is not None]
    if not known:
        return None
    count = min(MOST_PARTS, len(values))
    bounds = [part * len(values) // count for part in range(count + 1)]
    place = next((at for at, frame in enumerate(frames) if of is not None and frame.id == of.id), None)
    return Course(
        parts=tuple(_mean(values[a:b]) for a, b in pairwise(bounds)),
        low=round(min(known), 2),
        high=round(max(known), 2),
        at=None if place is None else next(part for part in range(count) if place < bounds[part + 1]),
        stops=None if place is None or values[place] is None else round(values[place] or 0.0, 2),
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return round(sum(known) / len(known), 2) if known else None
