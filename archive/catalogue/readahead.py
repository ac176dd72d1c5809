"""Entries and hash lists read as rows, by further processes where that is possible."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from archive.catalogue.affected import chunks
from archive.catalogue.entryrows import EntryRows
from archive.catalogue.hands import Hands
from archive.errors import ArchiveError, shown
from archive.journal.folders import Place
from archive.journal.log import READING, read_copies
from archive.store.durable import LocalDisk
from archive.store.ports import Disk
from archive.store.volumes import chain_state, held_files

_ENTRIES, _LISTS = 16, 8
"""How many are read in one go."""
_LONGEST_PATH = 1000

Progress = Callable[[str, int, int], None]
Held = tuple[str, str | None, list[tuple[str, str, int]]]
"""A roll's folder, the state of its chain (None for no list), and its files: path, digest, size."""
Sent = str | Disk
"""A disk by its path, which can be sent to another process; one of another kind stays as it is."""


def read_entries(
    hands: Hands,
    wanted: Sequence[str],
    places: Mapping[str, Sequence[Place]],
    bound: int,
    progress: Progress | None = None,
) -> Iterator[EntryRows]:
    """What these entries tell, and what is wrong with them; ``bound`` is the greatest counter of all."""
    jobs = (
        ([(name, [(_sent(disk), path) for disk, path in places[name]]) for name in names], bound)
        for names in chunks(wanted, _ENTRIES)
    )
    for number, plain in enumerate(hands.each(entry_rows, jobs)):
        if progress:
            progress(READING, number * _ENTRIES, len(wanted))
        yield EntryRows.of_plain(plain)


def entry_rows(wanted: Iterable[tuple[str, list[tuple[Sent, str]]]], bound: int) -> tuple[Any, ...]:
    """The rows of entries that lie at these places, by name; see ``EntryRows.plain``."""
    rows = EntryRows()
    for name, places in wanted:
        for item in read_copies(name, [(_disk(sent), path) for sent, path in places], bound):
            rows.add(item)
    return rows.plain()


def read_lists(
    hands: Hands,
    disk: Disk,
    folders: Sequence[str],
    before: Mapping[str, str],
    progress: Progress | None = None,
) -> Iterator[tuple[list[Held], list[tuple[str, str]]]]:
    """What the hash lists of rolls say, some at a time, and of folders whose list is damaged what is wrong.

    ``before`` are the states that are known: lists that are as they were are left out.
    """
    sent = _sent(disk)
    jobs = (([(folder, before.get(folder)) for folder in some], sent) for some in chunks(folders, _LISTS))
    for number, found in enumerate(hands.each(held_lists, jobs)):
        if progress:
            progress("Reading hash lists", number * _LISTS, len(folders))
        yield found


def held_lists(
    wanted: Iterable[tuple[str, str | None]], sent: Sent
) -> tuple[list[Held], list[tuple[str, str]]]:
    """The hash lists of rolls on a disk, by folder and known state; see ``read_lists``."""
    disk, told, faults = _disk(sent), [], []
    for folder, before in wanted:
        try:
            told += _held(disk, folder, before)
        except ArchiveError as error:
            faults.append((folder, str(error)))
    return told, faults


def _held(disk: Disk, folder: str, before: str | None) -> list[Held]:
    """What a list says now; nothing, where it says what it said before."""
    chain = chain_state(disk, folder)
    state = None if chain is None else "sha256:" + hashlib.sha256(chain).hexdigest()
    if state == before:
        return []
    held = held_files(disk, folder)
    if any(len(path) > _LONGEST_PATH for path in held):
        raise ArchiveError(
            f"The hash list of {shown(folder)} names a path of more than {_LONGEST_PATH} characters. "
            "What it lists is not counted as held."
        )
    return [(folder, state, [(path, f"xxh128:{file.xxh128}", file.size) for path, file in held.items()])]


def _sent(disk: Disk) -> Sent:
    return str(disk.root) if type(disk) is LocalDisk else disk


@lru_cache(maxsize=16)
def _local(root: str) -> LocalDisk:
    return LocalDisk(Path(root))


def _disk(sent: Sent) -> Disk:
    return _local(sent) if isinstance(sent, str) else sent
