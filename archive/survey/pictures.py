"""Previews and slices that a survey kept, read back as pictures from the mounted volumes."""

from __future__ import annotations

from collections.abc import Sequence

from archive.catalogue.books import Books
from archive.engine.surveyor import Picture, read_picture
from archive.errors import ArchiveError, DamagedFileError, shown
from archive.model.survey import KeptFile
from archive.store.surveys import read_kept
from archive.store.userplace import doubt_surveyed
from archive.survey.records import Seen


def kept_bytes(books: Books, folder: str, kept: KeptFile) -> bytes:
    """A preview or slices file from the first mounted volume that has it sound.

    Raises
    ------
    DamagedFileError : when every copy is damaged. ArchiveError : when no mounted volume has one.
    """
    trouble: ArchiveError | None = None
    for volume in books.mounted:
        try:
            return read_kept(volume.disk, folder, kept)
        except FileNotFoundError:
            _doubt(books, folder)
        except DamagedFileError as error:
            _doubt(books, folder)
            trouble = error
    raise trouble or ArchiveError(
        f"The survey file {shown(f'{folder}/{kept.path}')} is on no mounted volume.",
        hint="Nothing was changed. Mount a volume that holds it, or run `noctuary survey`.",
    )


def _doubt(books: Books, folder: str) -> None:
    doubt_surveyed(books.home.mark.archive, books.home.id, folder)


def preview_picture(books: Books, seen: Seen) -> Picture:
    """A frame's preview: uint8, (height, width, 3), sRGB.

    Raises
    ------
    ArchiveError : when no sound copy is at hand.
    """
    data = kept_bytes(books, seen.folder, seen.surveyed.preview)
    return read_picture(data, *seen.size, f"preview of {shown(seen.surveyed.path)}")


def middle_columns(books: Books, seen: Sequence[Seen]) -> list[Picture | None]:
    """The middle column of each preview, uint8, (height, 3); None where its slices file is unusable."""
    slices: dict[str, Picture | None] = {}
    columns: list[Picture | None] = []
    for each in seen:
        path = each.surveyed.slices.path
        if path not in slices:
            slices[path] = _slices(books, each)
        picture = slices[path]
        at = each.surveyed.slice_at
        columns.append(picture[:, at] if picture is not None and at < picture.shape[1] else None)
    return columns


def _slices(books: Books, seen: Seen) -> Picture | None:
    try:
        data = kept_bytes(books, seen.folder, seen.surveyed.slices)
        return read_picture(data, None, seen.size[1], "slices")
    except ArchiveError:
        return None
