"""What was surveyed, read back from the mounted volumes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.errors import ArchiveError
from archive.model.capture import Frame
from archive.model.survey import METHOD, SurveyDocument, SurveyedFrame
from archive.store.surveys import document_names, read_document, survey_folder
from archive.store.volumes import Volume


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One surveyed frame: its preview's width and height, its roll's survey folder, the method."""

    surveyed: SurveyedFrame
    size: tuple[int, int]
    folder: str
    method: int = METHOD


def surveyed_frames(volumes: Sequence[Volume], roll_folder: str) -> dict[str, Seen]:
    """Frames of a roll that these volumes hold measures of, by frame id.

    Documents that are damaged or newer are passed over; of several methods the highest known counts.
    """
    folder = survey_folder(roll_folder)
    found: dict[str, Seen] = {}
    read: set[str] = set()
    for volume in volumes:
        for name in document_names(volume.disk, folder):
            if name in read:
                continue
            try:
                document = read_document(volume.disk, folder, name)
            except ArchiveError:
                continue
            read.add(name)
            if document.method <= METHOD:
                _take(document, folder, found)
    return found


def _take(document: SurveyDocument, folder: str, found: dict[str, Seen]) -> None:
    for frame in document.frames:
        if frame.frame not in found or found[frame.frame].method < document.method:
            found[frame.frame] = Seen(
                surveyed=frame, size=document.size, folder=folder, method=document.method
            )


def seen_of(books: Books, frames: Sequence[Frame]) -> dict[str, Seen]:
    """What was surveyed of these frames, by frame id; those that were not are left out."""
    folders = {roll: folder for folder, roll in books.catalogue.rolls().items()}
    found: dict[str, Seen] = {}
    for roll in sorted({frame.roll for frame in frames}):
        found |= surveyed_frames(books.mounted, folders[roll])
    wanted = {frame.id for frame in frames}
    return {frame: seen for frame, seen in found.items() if frame in wanted}
