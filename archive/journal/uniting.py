"""Two journals made one: the union of their entries, by name and bytes, in any order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from archive.errors import ArchiveError, shown
from archive.formats import entry as entry_format
from archive.formats.documents import MAX_DOCUMENT
from archive.journal.counters import greatest
from archive.journal.folders import counter_of, entry_paths
from archive.journal.log import Fault, out_of_line
from archive.model.entry import Entry
from archive.store.durable import read_bytes, tidy, write_new
from archive.store.ports import Disk


@dataclass(frozen=True, kw_only=True)
class United:
    """What uniting two journals did; ``faults`` are entries that were left where they are."""

    copied: int
    faults: tuple[Fault, ...]


@dataclass(frozen=True, kw_only=True)
class Found:
    """An entry that one journal holds and the other lacks: where it lies, its bytes, what it says."""

    path: str
    data: bytes
    entry: Entry


def unite(source: Disk, target: Disk, *, compare: bool = True) -> United:
    """Copy the entries that ``target`` lacks; the order of uniting does not matter.

    An entry is copied as it is, whether this release knows its kind and format or not. A damaged or renamed
    one is not spread. The same name with other bytes is a fault: neither is changed.

    Parameters
    ----------
    compare : hold entries that both have against each other, byte for byte. Without it names are enough, as
        between volumes of one owner, which an audit reads.

    Raises
    ------
    ArchiveError, OSError : when the target cannot be written; what was copied before is whole.
    """
    if not compare and not _lacking(source, target):
        return United(copied=0, faults=())
    copied = 0
    faults: list[Fault] = []
    # Whoever writes a journal may tidy its temporary files away; so this is a writer like any other.
    with target.lock("journal", "Uniting two journals"):
        tidy(target, "journal")
        for item in differences(source, target, compare=compare):
            if isinstance(item, Fault):
                faults.append(item)
            else:
                write_new(target, item.path.rpartition("/")[0], item.entry.name, item.data)
                copied += 1
    return United(copied=copied, faults=tuple(faults))


def differences(source: Disk, target: Disk, *, compare: bool = True) -> Iterator[Found | Fault]:
    """Every entry that ``target`` lacks, proven, in name order, and every one that cannot be united."""
    have: dict[str, str] = {}
    for path, name in entry_paths(target):
        have.setdefault(name, path)
    theirs = sorted((name, path) for path, name in entry_paths(source))
    bound = greatest(counter_of(name) for name in (*have, *(name for name, _ in theirs)))
    taken = ""
    for name, path in theirs:
        if name == taken or (name in have and not compare):
            continue
        try:
            data = read_bytes(source, path, limit=MAX_DOCUMENT)
            if name in have:
                _compare(data, read_bytes(target, have[name], limit=MAX_DOCUMENT), name)
                continue
            if counter_of(name) > bound:
                raise out_of_line(name, bound)
            entry = entry_format.decode(data, name)
        except (ArchiveError, OSError) as error:
            yield Fault(name=name, error=_told(name, error))
            continue
        taken = name
        yield Found(path=path, data=data, entry=entry)


def _lacking(source: Disk, target: Disk) -> bool:
    have = {name for _, name in entry_paths(target)}
    return any(name not in have for _, name in entry_paths(source))


def _compare(theirs: bytes, ours: bytes, name: str) -> None:
    if theirs != ours:
        raise ArchiveError(
            f"The journal entry {shown(name)} has other bytes in the two archives.",
            hint="Neither was changed. One of them is damaged; audit both.",
        )


def _told(name: str, error: ArchiveError | OSError) -> ArchiveError:
    if isinstance(error, ArchiveError):
        return error
    return ArchiveError(
        f"The journal entry {shown(name)} cannot be read: {error.strerror or error}.",
        hint="It was left as it is and not copied. Check the drive, and unite again.",
    )
