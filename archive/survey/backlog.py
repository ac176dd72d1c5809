"""What is still to be measured, roll by roll: of a whole archive never more than one roll is held at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from archive.catalogue.backlog import frames_of_roll, rolls_of_frames
from archive.catalogue.books import Books
from archive.model.capture import Frame
from archive.model.identity import derived_key
from archive.model.survey import METHOD
from archive.store.surveys import state_of, survey_folder
from archive.store.userplace import DOUBTED, remember_surveyed, remembered_surveyed
from archive.store.volumes import Volume
from archive.survey.records import Seen, surveyed_frames


@dataclass(frozen=True, kw_only=True)
class Part:
    """Frames of one roll that are to be measured where they were not: its folder, and how many they are.

    ``key`` is another when they are others, empty where they are not all of the roll's. What the documents
    ``again`` tell does not count.
    """

    folder: str
    frames: int
    key: str
    load: Callable[[], Sequence[Frame]]
    again: frozenset[str] = frozenset()

    def left(self, volumes: Sequence[Volume], damaged: set[str] | None = None) -> int:
        """How many of them are still to be measured; names of damaged documents are added to ``damaged``."""
        done = surveyed_frames(volumes, self.folder, without=self.again, damaged=damaged)
        return len(self._unseen(done)) if done else self.frames

    def unseen(self, volumes: Sequence[Volume]) -> list[Frame]:
        """Those of them that are still to be measured, in the order of their paths.

        They are those that no record on these volumes measures; with them those that were only measured by
        earlier methods, so that previews of two kinds never stand side by side.
        """
        return self._unseen(surveyed_frames(volumes, self.folder, without=self.again))

    def joined(self, frames: Sequence[Frame], again: frozenset[str]) -> Part:
        """With further frames of the roll; what the documents ``again`` tell of any does not count."""
        members = {frame.id: frame for frame in (*self.load(), *frames)}
        ordered = sorted(members.values(), key=lambda frame: frame.path)
        return replace(self, frames=len(ordered), load=lambda: ordered, again=again)

    def _unseen(self, done: Mapping[str, Seen]) -> list[Frame]:
        frames = self.load()
        if all(frame.id in done for frame in frames):
            return []
        return [frame for frame in frames if frame.id not in done or done[frame.id].method != METHOD]


def whole_archive(books: Books) -> list[Part]:
    """Every frame there is, in the order of the rolls' folders: the oldest night first."""

    def part(roll: str, folder: str, frames: int, key: str) -> Part:
        return Part(folder=folder, frames=frames, key=key, load=lambda: frames_of_roll(books.catalogue, roll))

    return [part(each.id, each.folder, each.frames, each.key) for each in rolls_of_frames(books.catalogue)]


def named_frames(books: Books, frames: Sequence[Frame]) -> list[Part]:
    """These frames by their rolls."""
    folders = {roll: folder for folder, roll in books.catalogue.rolls().items()}
    by_folder: dict[str, list[Frame]] = {}
    for frame in sorted(frames, key=lambda frame: (folders[frame.roll], frame.path)):
        by_folder.setdefault(folders[frame.roll], []).append(frame)

    def part(folder: str, members: list[Frame]) -> Part:
        return Part(folder=folder, frames=len(members), key="", load=lambda: members)

    return [part(folder, members) for folder, members in by_folder.items()]


class Complete:
    """Which rolls one volume holds measures of throughout, as noted on this machine.

    Reading the records of many years takes minutes. They are read again only of rolls whose frames or
    documents changed since, or of which something was seen damaged: these, by folder, are ``doubted``.
    """

    def __init__(self, volume: Volume) -> None:
        self._volume = volume
        self._noted = remembered_surveyed(volume.mark.archive, volume.id)
        self._changed = False
        self.doubted: set[str] = set()

    def left(self, part: Part) -> int:
        """How many frames of a part the volume holds no measures of."""
        if not part.key:
            return part.left([self._volume])
        state, folder = self._state(part), survey_folder(part.folder)
        noted = self._noted.get(folder)
        if noted == state:
            return 0
        damaged: set[str] = set()
        left = part.left([self._volume], damaged)
        if damaged or noted == DOUBTED:
            self.doubted.add(part.folder)
            self._note(folder, DOUBTED)
        elif not left:
            self._note(folder, state)
        return left

    def healed(self, roll_folder: str) -> None:
        """Doubt a roll no longer; the next survey reads its records."""
        self._note(survey_folder(roll_folder), "")

    def _note(self, folder: str, state: str) -> None:
        self._noted[folder] = state
        self._changed = True

    def keep(self) -> None:
        """Note what was found for the next time."""
        if self._changed:
            remember_surveyed(self._volume.mark.archive, self._volume.id, self._noted)

    def _state(self, part: Part) -> str:
        documents = state_of(self._volume.disk, survey_folder(part.folder))
        return derived_key("surveyed", METHOD, part.key, documents)
