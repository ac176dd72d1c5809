"""Records that are no masters and no entries: surveys, files of the activity index. Proven, mended, copied.

A survey document is held against its own name, what it names against the digest there, an activity file
against the entry about it. A damaged one is replaced by the very bytes that another volume holds.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats import survey as survey_format
from archive.formats.documents import NewerFormatError
from archive.model.entry import ACTIVITY
from archive.model.records import RecordNote, RecordsReport
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes, write_new
from archive.store.ports import Disk
from archive.store.surveys import SURVEY, document_names, named_files
from archive.store.volumes import Volume

_LARGEST = 1 << 27
_DAMAGED = "is damaged: its bytes do not match its record"


@dataclass(frozen=True, kw_only=True)
class Record:
    """A file by path below its volume; ``digest`` is empty of a survey document, whose name is its proof."""

    path: str
    digest: str = ""


def held_records(books: Books, disk: Disk) -> Iterator[Record]:
    """Every record that a volume holds, and what its survey documents name, be it there or not."""
    for folder in disk.folders(SURVEY):
        named: dict[str, Record] = {}
        for name in document_names(disk, f"{SURVEY}/{folder}"):
            path = f"{SURVEY}/{folder}/{name}"
            yield Record(path=path)
            named |= {record.path: record for record in _named(disk, path)}
        yield from (named[path] for path in sorted(named))
    there = set(disk.files(ACTIVITY))
    for value in books.catalogue.layer(ACTIVITY).values():
        path = str(value["path"])
        if path.rpartition("/")[2] in there:
            yield Record(path=path, digest=str(value["digest"]))


def _named(disk: Disk, path: str) -> Iterator[Record]:
    """What a survey document names; nothing, if it cannot be read as one."""
    folder, _, name = path.rpartition("/")
    try:
        document = survey_format.decode(read_bytes(disk, path, limit=_LARGEST), name)
    except (ArchiveError, OSError):
        return
    for kept in named_files(document):
        yield Record(path=f"{folder}/{kept.path}", digest=kept.digest)


def look_at(disk: Disk, record: Record) -> tuple[int, str | None]:
    """A record's size in bytes, and in words what is wrong with it; None for a sound one."""
    try:
        found = disk.stat(record.path)
        if found is None:
            return 0, "is missing"
        if record.digest:
            digest, _ = disk.read_back(record.path)
            return found.size, None if digest == record.digest else _DAMAGED
        _proven(disk, record)
    except (ArchiveError, OSError) as error:
        if isinstance(error, DamagedFileError):
            return 0, _DAMAGED
        why = error.message.rstrip(".") if isinstance(error, ArchiveError) else error.strerror or str(error)
        return 0, f"cannot be read: {why}"
    return found.size, None


def _proven(disk: Disk, record: Record) -> bytes:
    """The bytes of a record, proven.

    Raises
    ------
    DamagedFileError : when they are others. FileNotFoundError, OSError : when it is not there or unreadable.
    """
    data = read_bytes(disk, record.path, limit=_LARGEST)
    if record.digest:
        if digest_bytes(data) != record.digest:
            raise DamagedFileError(f"{record.path} {_DAMAGED}.")
        return data
    # Of a newer document, the name was held against the bytes before its format was looked at.
    with contextlib.suppress(NewerFormatError):
        survey_format.decode(data, record.path.rpartition("/")[2])
    return data


def mend_records(books: Books) -> RecordsReport:
    """Replace every record that is damaged or missing on a volume by the bytes of one that holds it sound."""
    mended, failed = [], []
    volumes = books.mounted
    for volume in volumes:
        for _ in range(2):
            # A document that is whole again names files that were not asked about before.
            done = 0
            for record in list(held_records(books, volume.disk)):
                fault = look_at(volume.disk, record)[1]
                if fault is None:
                    continue
                note = _bring(record, volume, volumes)
                if note is None:
                    done += 1
                    mended.append(RecordNote(volume=volume.name, path=record.path, text=fault))
                else:
                    failed.append(RecordNote(volume=volume.name, path=record.path, text=f"{fault}; {note}"))
            if not done:
                break
    return RecordsReport(brought=(), mended=tuple(mended), failed=tuple(dict.fromkeys(failed)))


def copy_records(books: Books, target: Volume) -> RecordsReport:
    """Bring a volume every record that another mounted one holds and it lacks.

    What a document names is durable before the document; a run that was stopped is completed by the next.
    """
    brought, failed = [], []
    have: set[str] = set()
    for source in books.mounted:
        if source.id == target.id:
            continue
        # Documents come after what they name, or a stop would leave names of files that are not there.
        for record in sorted(held_records(books, source.disk), key=lambda record: not record.digest):
            if record.path in have:
                continue
            if look_at(target.disk, record)[1] is None:
                have.add(record.path)
                continue
            if not record.digest and not any(_named(source.disk, record.path)):
                note: str | None = f"{shown(source.name)} holds it damaged, or a newer release wrote it"
            else:
                note = _bring(record, target, [source])
            if note is None:
                have.add(record.path)
                brought.append(RecordNote(volume=target.name, path=record.path, text=f"from {source.name}"))
            else:
                failed.append(RecordNote(volume=target.name, path=record.path, text=note))
    missed = {note.path: note for note in failed if note.path not in have}
    return RecordsReport(brought=tuple(brought), mended=(), failed=tuple(missed.values()))


def _bring(record: Record, target: Volume, sources: Sequence[Volume]) -> str | None:
    """Put the proven bytes of a record onto a volume; gives in words why that could not be."""
    for source in sources:
        if source.id == target.id:
            continue
        try:
            data = _proven(source.disk, record)
        except (ArchiveError, OSError):
            continue
        folder, _, name = record.path.rpartition("/")
        try:
            with target.disk.lock("ingest", "Bringing records"):
                if target.disk.stat(record.path) is not None:
                    # Its proven bytes are at hand, and nothing that it holds instead is of use.
                    target.disk.remove(record.path)
                write_new(target.disk, folder, name, data, by="ingest")
        except (ArchiveError, OSError) as error:
            why = error.message if isinstance(error, ArchiveError) else f"{error.strerror or error}."
            return f"it could not be written: {why}"
        return None
    return "no mounted volume holds it sound"
