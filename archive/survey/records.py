"""What was surveyed, read back from the mounted volumes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.errors import ArchiveError, DamagedFileError, shown
from archive.model.capture import Frame
from archive.model.survey import METHOD, SurveyDocument, SurveyedFrame
from archive.store.surveys import document_names, read_document, survey_folder
from archive.store.userplace import doubt_surveyed
from archive.store.volumes import Volume


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One surveyed frame: its preview's width and height, its roll's survey folder, method and document."""

    surveyed: SurveyedFrame
    size: tuple[int, int]
    folder: str
    method: int = METHOD
    document: str = ""


def surveyed_frames(
    volumes: Sequence[Volume],
    roll_folder: str,
    *,
    without: Collection[str] = (),
    damaged: set[str] | None = None,
) -> dict[str, Seen]:
    """Frames of a roll that these volumes hold measures of, by frame id; ``without`` some documents.

    Documents that are damaged or newer are passed over; of several methods the highest known counts. Names of
    damaged ones are added to ``damaged``, and noted, so that the next survey looks at all of their roll.
    """
    folder = survey_folder(roll_folder)
    found: dict[str, Seen] = {}
    read: set[str] = set()
    for volume in volumes:
        for name in document_names(volume.disk, folder):
            if name in read or name in without:
                continue
            try:
                document = read_document(volume.disk, folder, name)
            except DamagedFileError:
                if damaged is not None:
                    damaged.add(name)
                for each in volumes:
                    doubt_surveyed(each.mark.archive, each.id, folder)
                continue
            except ArchiveError:
                continue
            read.add(name)
            if document.method <= METHOD:
                _take(document, name, folder, found)
    return found


def _take(document: SurveyDocument, name: str, folder: str, found: dict[str, Seen]) -> None:
    for frame in document.frames:
        if frame.frame not in found or found[frame.frame].method < document.method:
            found[frame.frame] = Seen(
                surveyed=frame, size=document.size, folder=folder, method=document.method, document=name
            )


def seen_of(books: Books, frames: Sequence[Frame]) -> dict[str, Seen]:
    """What was surveyed of these frames, by frame id; those that were not are left out."""
    folders = {roll: folder for folder, roll in books.catalogue.rolls().items()}
    found: dict[str, Seen] = {}
    for roll in sorted({frame.roll for frame in frames}):
        found |= surveyed_frames(books.mounted, folders[roll])
    wanted = {frame.id for frame in frames}
    return {frame: seen for frame, seen in found.items() if frame in wanted}


def unwritable(volume: Volume, error: OSError) -> ArchiveError:
    """The error of a volume that takes no records."""
    return ArchiveError(
        f"The survey cannot be written to {shown(volume.name)}: {error.strerror}.",
        hint="What was surveyed before is safe. Make room, then run the same command again.",
    )
