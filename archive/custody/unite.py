"""Uniting with another copy of this archive, or with one that was begun apart: the union of their entries.

Copies of one archive are made alike, in both directions. From an archive that was begun apart entries are
taken in, and it gets nothing; because that cannot be taken back, it is first shown what would come.

Rolls are not copied here. What the other archive's hash lists tell of rolls that are nowhere held is told;
entries about them wait in the journal until the frames are there.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from archive.catalogue.books import Books
from archive.errors import ArchiveError, UsageError, shown
from archive.formats.hashlist import HashedFile
from archive.formats.volume import NAME
from archive.journal.log import Fault
from archive.journal.uniting import Found, differences, unite
from archive.model.uniting import RollElsewhere, UniteReport
from archive.store import userplace
from archive.store.volumes import Volume, held_files, open_volume, roll_folders


def run_unite(books: Books, folder: Path, *, different: bool = False) -> UniteReport:
    """Take in every entry that another archive holds and this one lacks.

    Parameters
    ----------
    folder : a volume of the other one.
    different : it may be an archive that was begun apart from this one. Without it such a one is only looked
        at: the report tells what would come, and nothing is written.

    Raises
    ------
    UsageError : when there is no archive in the folder.
    ArchiveError : when it cannot be read, or this one cannot be written.
    """
    if not (folder / NAME).is_file():
        raise UsageError(
            f"There is no archive in {shown(str(folder))}.",
            hint="Nothing was changed. Name the folder of the other archive, which holds its volume.json.",
        )
    other = open_volume(folder)
    if other.root in {volume.root for volume in books.volumes}:
        raise ArchiveError(
            f"{shown(str(folder))} is this archive itself.", hint="Nothing was changed. Name another copy."
        )
    same = other.mark.archive == books.home.mark.archive
    found, faults = _look(books, other)
    if not (same or different):
        return _report(books, other, found, _sentences(faults), same=same, done=False)
    for volume in books.volumes:
        unite(other.disk, volume.disk, compare=False)
    told = _sentences(faults)
    given = 0
    if same:
        given, trouble = _give(books, other)
        told += trouble
        if other.id not in {volume.id for volume in books.mounted}:
            userplace.remember_mount(other.mark.archive, other.id, other.root)
            books.beside.append(other)
    books.catch_up()
    books.sync()
    return _report(books, other, found, told, same=same, done=True, given=given)


def _give(books: Books, other: Volume) -> tuple[int, list[str]]:
    """How many entries the other copy got, and why it got none."""
    try:
        return unite(books.home.disk, other.disk, compare=False).copied, []
    except (ArchiveError, OSError) as error:
        why = error.message if isinstance(error, ArchiveError) else f"{error.strerror or error}."
        return 0, [
            f"{shown(other.name)} got nothing from this archive: {why} What it holds was taken in here."
        ]


def _sentences(faults: list[Fault]) -> list[str]:
    return [str(fault.error) for fault in sorted(faults, key=lambda fault: fault.name)]


def _look(books: Books, other: Volume) -> tuple[list[Found], list[Fault]]:
    found: list[Found] = []
    faults: list[Fault] = []
    for item in differences(other.disk, books.home.disk):
        if isinstance(item, Fault):
            faults.append(item)
        else:
            found.append(item)
    return found, faults


def _report(
    books: Books,
    other: Volume,
    found: list[Found],
    faults: list[str],
    *,
    same: bool,
    done: bool,
    given: int = 0,
) -> UniteReport:
    rolls, troubles = _rolls_only_there(books, other)
    kinds = Counter(item.entry.kind for item in found)
    return UniteReport(
        other=str(other.root),
        same_archive=same,
        done=done,
        entries=len(found),
        kinds=tuple(sorted(kinds.items())),
        persons=tuple(sorted({item.entry.person for item in found if item.entry.person})),
        given=given,
        rolls=tuple(rolls),
        faults=(*faults, *troubles),
    )


def _rolls_only_there(books: Books, other: Volume) -> tuple[list[RollElsewhere], list[str]]:
    """Rolls that no volume in use here holds by its own hash lists, and what is odd about those both hold."""
    rolls: list[RollElsewhere] = []
    troubles: list[str] = []
    for folder in roll_folders(other.disk):
        try:
            theirs = held_files(other.disk, folder)
        except ArchiveError as error:
            troubles.append(str(error))
            continue
        ours = [held for volume in books.volumes if (held := _held(volume, folder))]
        if not ours and theirs:
            size = sum(file.size for file in theirs.values())
            rolls.append(RollElsewhere(folder=folder, files=len(theirs), size=size))
        for held in ours:
            differing = [p for p in theirs.keys() & held.keys() if theirs[p].xxh128 != held[p].xxh128]
            if differing:
                troubles.append(
                    f"The roll {shown(folder)} has other bytes in the two archives: "
                    f"{', '.join(shown(path) for path in sorted(differing)[:5])}. Neither was changed; "
                    "audit both."
                )
    return rolls, troubles


def _held(volume: Volume, folder: str) -> dict[str, HashedFile]:
    try:
        return held_files(volume.disk, folder)
    except ArchiveError:
        # A history that cannot be read is told by the catalogue, each time it is looked at.
        return {}
