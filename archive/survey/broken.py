"""Measures documents that are damaged themselves, or name files that no mounted volume has sound."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from archive.catalogue.backlog import frames_of_roll
from archive.catalogue.books import Books
from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats.survey import method_of
from archive.model.survey import METHOD, SurveyDocument, SurveyNote
from archive.store.surveys import (
    document_names,
    is_damaged,
    named_files,
    read_document,
    survey_folder,
    write_survey,
)
from archive.store.volumes import Volume
from archive.survey.pictures import kept_bytes
from archive.survey.records import surveyed_frames, unwritable


@dataclass(frozen=True, kw_only=True)
class Repaired:
    """What became of a roll's documents.

    ``brought`` were made whole, or brought, from another volume. ``broken`` tells the ids of the frames of
    each that names files which are sound nowhere. ``lost`` are sound nowhere themselves.
    """

    brought: int
    broken: Mapping[str, frozenset[str]]
    lost: frozenset[str]


def repair(
    books: Books, targets: Sequence[Volume], roll_folder: str, wanted: Collection[str] | None = None
) -> Repaired:
    """Hold a roll's documents, and all they name, against their digests; mend what another volume has sound.

    With ``wanted``, only documents about any of these frames are looked at.

    Raises
    ------
    ArchiveError : when a volume cannot be written.
    """
    folder = survey_folder(roll_folder)
    brought, lost = 0, set()
    broken: dict[str, frozenset[str]] = {}
    for name in sorted({name for volume in books.mounted for name in document_names(volume.disk, folder)}):
        if (method_of(name) or 0) > METHOD:
            # Not for this release to judge.
            continue
        try:
            document = _sound(books, folder, name)
        except DamagedFileError:
            lost.add(name)
            continue
        if document is None or (wanted is not None and _frames(document).isdisjoint(wanted)):
            continue
        try:
            files = {kept.path: kept_bytes(books, folder, kept) for kept in named_files(document)}
        except ArchiveError:
            broken[name] = _frames(document)
            continue
        for target in targets:
            try:
                brought += bool(write_survey(target.disk, folder, files, document))
            except OSError as error:
                raise unwritable(target, error) from error
    return Repaired(brought=brought, broken=broken, lost=frozenset(lost))


def _sound(books: Books, folder: str, name: str) -> SurveyDocument | None:
    """A document from the first mounted volume that has it sound; None of one that is not for us to judge.

    Raises
    ------
    DamagedFileError : when every copy is damaged.
    """
    trouble: DamagedFileError | None = None
    for volume in books.mounted:
        if volume.disk.stat(f"{folder}/{name}") is None:
            continue
        try:
            document = read_document(volume.disk, folder, name)
        except DamagedFileError as error:
            trouble = error
        except ArchiveError:
            return None
        else:
            return document
    if trouble:
        raise trouble
    return None


def _frames(document: SurveyDocument) -> frozenset[str]:
    return frozenset(frame.frame for frame in document.frames)


def clear(
    books: Books, volumes: Sequence[Volume], roll_folder: str, repaired: Repaired, written: Collection[str]
) -> list[SurveyNote]:
    """Take away broken documents whose frames these volumes hold sound measures of now; tells of the others.

    What a damaged document was about cannot be known: it goes once all frames of its roll are measured.
    ``written`` are documents that were written since, which are whole again where they have the same name.
    """
    stale = (repaired.broken.keys() | repaired.lost) - set(written)
    if not stale:
        return []
    folder = survey_folder(roll_folder)
    whole_roll = frozenset(
        frame.id for frame in frames_of_roll(books.catalogue, books.catalogue.rolls()[roll_folder])
    )
    notes = []
    for volume in volumes:
        there = stale.intersection(document_names(volume.disk, folder))
        held = surveyed_frames([volume], roll_folder, without=stale).keys() if there else set()
        for name in sorted(there):
            about = repaired.broken.get(name, whole_roll)
            text = "is damaged, and stays until all its frames are measured again"
            if name in repaired.broken:
                text = "names files that are damaged or missing, and could not be made again"
            gone = about <= held and (name in repaired.broken or is_damaged(volume.disk, folder, name))
            if gone:
                try:
                    volume.disk.remove(f"{folder}/{name}")
                except OSError as error:
                    gone, text = False, f"is of no use, and cannot be removed: {error.strerror}"
            if not gone:
                notes.append(SurveyNote(path=f"{shown(volume.name)}: {shown(f'{folder}/{name}')}", text=text))
        if there:
            with contextlib.suppress(OSError):
                # A name that comes back after a crash is taken away by the next survey.
                volume.disk.sync_folder(folder)
    return notes
