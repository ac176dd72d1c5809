"""The records of unfinished ingests: on every volume that is written, until it holds what they list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from archive.errors import ArchiveError
from archive.formats import incoming as incoming_format
from archive.formats.incoming import Incoming
from archive.ingest.lane import cannot_write
from archive.store.durable import read_bytes, write_new
from archive.store.ports import Disk
from archive.store.volumes import Volume

INCOMING = "incoming"


@dataclass(frozen=True, kw_only=True)
class Unfinished:
    """One unfinished ingest, and the ids of the volumes at hand that hold its record."""

    record: Incoming
    holders: frozenset[str]


def read_unfinished(disk: Disk) -> dict[str, Incoming]:
    """The ingests that a volume says are unfinished, by id, oldest first."""
    found = {}
    for name in disk.files(INCOMING):
        if name.endswith(".json"):
            record = incoming_format.decode(read_bytes(disk, f"{INCOMING}/{name}"), name)
            found[record.id] = record
    return dict(sorted(found.items(), key=lambda item: (item[1].started, item[0])))


def unfinished_on(volumes: Sequence[Volume]) -> list[Unfinished]:
    """The ingests that any of some volumes says are unfinished, oldest first."""
    records: dict[str, Incoming] = {}
    holders: dict[str, set[str]] = {}
    for volume in volumes:
        for record in read_unfinished(volume.disk).values():
            records.setdefault(record.id, record)
            holders.setdefault(record.id, set()).add(volume.id)
    ordered = sorted(records.values(), key=lambda record: (record.started, record.id))
    return [Unfinished(record=each, holders=frozenset(holders[each.id])) for each in ordered]


def keep_record(
    record: Incoming, volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]
) -> None:
    """Write a record to volumes that lack it; durable on each before anything of it is copied there."""
    for volume in volumes:
        try:
            write_new(volume.disk, INCOMING, f"{record.id}.json", incoming_format.encode(record), by="ingest")
        except OSError as error:
            failed(volume, cannot_write(volume, error))


def forget_record(
    record: Incoming, volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]
) -> None:
    """Take a record from volumes that hold what it lists."""
    for volume in volumes:
        try:
            volume.disk.remove(f"{INCOMING}/{record.id}.json")
            volume.disk.sync_folder(INCOMING)
        except OSError as error:
            failed(volume, cannot_write(volume, error))
