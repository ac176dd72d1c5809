"""What people say about sequences: where one breaks, what belongs together, and what it is called."""

from __future__ import annotations

from collections.abc import Sequence

from archive.catalogue.books import Books
from archive.catalogue.neighbours import leading_to
from archive.catalogue.resolve import find, find_one, find_sequence
from archive.errors import UsageError, shown
from archive.model.capture import Frame
from archive.model.entry import Change, Draft
from archive.model.listing import SequenceLine

BREAK, JOIN, TITLE = "sequence-break", "sequence-join", "sequence-title"
_LONGEST_TITLE = 200


class Sequencing:
    """Breaks, joins and titles; statements about frames, so that late cards and clocks do not move them."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def break_before(self, name: str) -> tuple[SequenceLine, ...]:
        """Let a sequence begin anew with this frame; answers the camera's sequences of the night.

        Raises
        ------
        UsageError : when the name finds no frame, or more than one.
        """
        frame = find_one(self._books.catalogue, name)
        self._state([frame], broken=True)
        return self._beside(frame)

    def join(self, name: str) -> tuple[SequenceLine, ...]:
        """Hold a frame together with the one before it, or a sequence with the sequence before it.

        Frames that lie between two sequences come into the one that they become. Answers the camera's
        sequences of the night.

        Raises
        ------
        UsageError : when there is nothing before it, or the name finds several frames and no sequence.
        """
        found = find(self._books.catalogue, name)
        if found.sequence is None:
            frames = [find_one(self._books.catalogue, name)]
            between = leading_to(self._books.catalogue, frames[0], over_singles=False)
        else:
            frames = [found.frames[0]]
            between = leading_to(self._books.catalogue, frames[0], over_singles=True)
        if not between:
            raise UsageError(
                f"There is nothing before {shown(name)} that it could be joined to.",
                hint="Nothing was changed. Name the frame or sequence that comes second.",
            )
        self._state(between, broken=False)
        return self._beside(frames[0])

    def title(self, name: str, title: str) -> SequenceLine:
        """Give a sequence a title; an empty one takes it back.

        Raises
        ------
        UsageError : when the name is no sequence's, or the title is too long.
        """
        line = find_sequence(self._books.catalogue, name)
        title = " ".join(title.split())
        if len(title) > _LONGEST_TITLE:
            raise UsageError(f"A title has at most {_LONGEST_TITLE} characters.", hint="Nothing was changed.")
        if title != line.title:
            # On the frame that the number hangs on: the two stay together whatever joins them.
            change = Change(subjects=(self._anchor(line),), layer=TITLE, value=title)
            self._books.state(Draft(kind="sequence", changes=(change,)))
        return find_sequence(self._books.catalogue, line.address)

    def _anchor(self, line: SequenceLine) -> str:
        night, camera, number = line.key.split("/")
        wanted = {"night": night, "camera": camera, "number": int(number)}
        members = {frame.id for frame in self._books.catalogue.frames(sequence=line.key)}
        claims = self._books.catalogue.stated_about(sorted(members), "sequence-number")
        return next(frame for (frame, _), value in claims.items() if value == wanted)

    def _state(self, frames: Sequence[Frame], *, broken: bool) -> None:
        ids = [frame.id for frame in frames]
        held = {layer: self._books.catalogue.stated_about(ids, layer) for layer in (BREAK, JOIN)}
        nights = sorted({frame.night for frame in frames})
        for night in nights:
            changes = []
            for layer, value in ((BREAK, broken), (JOIN, not broken)):
                subjects = tuple(
                    frame.id
                    for frame in frames
                    if frame.night == night and bool(held[layer].get((frame.id, ""), False)) != value
                )
                if subjects:
                    changes.append(Change(subjects=subjects, layer=layer, value=value))
            if changes:
                self._books.state(Draft(kind="sequence", changes=tuple(changes)))

    def _beside(self, frame: Frame) -> tuple[SequenceLine, ...]:
        return tuple(self._books.catalogue.sequences(frame.night, frame.camera))
