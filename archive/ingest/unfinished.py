"""The records of unfinished ingests: on every volume that is written, until it holds what they list."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from archive.errors import ArchiveError, shown
from archive.formats import incoming as incoming_format
from archive.formats.documents import NewerFormatError
from archive.formats.incoming import Incoming
from archive.ingest.troubles import cannot_write
from archive.journal.folders import FOLDER as JOURNAL
from archive.model.identity import FrameId, new_token
from archive.store.durable import read_bytes, write_new
from archive.store.ports import Disk
from archive.store.volumes import MASTERS, Volume

INCOMING = "incoming"
_RECORD, _PROVEN = ".json", ".proven"

Told = Callable[[str, str], None]
"""Told the name of a record that cannot be read, and why."""


@dataclass(frozen=True, kw_only=True)
class Unfinished:
    """One unfinished ingest, and the ids of the volumes at hand that hold its record.

    ``digests`` are of the files that were proven on some volume, by path below the volume.
    """

    record: Incoming
    holders: frozenset[str]
    digests: Mapping[str, FrameId] = field(default_factory=dict)


def _untold(_name: str, _why: str) -> None:
    """Nothing: for callers that only want to know what can be read."""


def read_unfinished(disk: Disk, told: Told = _untold) -> dict[str, Incoming]:
    """The ingests that a volume says are unfinished, by id, oldest first.

    A record that cannot be read is told and left; it stops no other ingest.

    Raises
    ------
    NewerFormatError : when a newer release is at work here: what it planned is for it to finish.
    """
    found = {}
    for name in disk.files(INCOMING):
        if not name.endswith(_RECORD):
            continue
        try:
            record = incoming_format.decode(read_bytes(disk, f"{INCOMING}/{name}"), name)
        except NewerFormatError:
            raise
        except (ArchiveError, OSError) as error:
            told(name, error.message if isinstance(error, ArchiveError) else str(error.strerror or error))
            continue
        found[record.id] = record
    return dict(sorted(found.items(), key=lambda item: (item[1].started, item[0])))


def unfinished_on(volumes: Sequence[Volume], told: Told = _untold) -> list[Unfinished]:
    """The ingests that any of some volumes says are unfinished, oldest first.

    A record that no volume has in readable form is told.
    """
    records: dict[str, Incoming] = {}
    holders: dict[str, set[str]] = {}
    digests: dict[str, dict[str, FrameId]] = {}
    faults: list[tuple[str, Volume, str]] = []
    for volume in volumes:

        def damaged(name: str, why: str, volume: Volume = volume) -> None:
            # Something lies under that name: another volume's record of it is not to be written there.
            holders.setdefault(name.removesuffix(_RECORD), set()).add(volume.id)
            faults.append((name, volume, why))

        for record in read_unfinished(volume.disk, damaged).values():
            records.setdefault(record.id, record)
            holders.setdefault(record.id, set()).add(volume.id)
        for ingest, proven in _read_proven(volume.disk):
            digests.setdefault(ingest, {}).update(proven)
    for name, volume, why in faults:
        if name.removesuffix(_RECORD) not in records:
            told(f"{INCOMING}/{shown(name)} on {shown(volume.name)}", why)
    ordered = sorted(records.values(), key=lambda record: (record.started, record.id))
    return [
        Unfinished(record=each, holders=frozenset(holders[each.id]), digests=digests.get(each.id, {}))
        for each in ordered
    ]


def _read_proven(disk: Disk) -> list[tuple[str, dict[str, FrameId]]]:
    """What earlier runs put down as proven, by ingest; what cannot be read of it is only not known."""
    found = []
    for name in disk.files(INCOMING):
        if name.endswith(_PROVEN):
            try:
                ingest, digests = incoming_format.decode_proven(read_bytes(disk, f"{INCOMING}/{name}"), name)
            except (ArchiveError, OSError):
                continue
            found.append((ingest, {f"{MASTERS}/{path}": digest for path, digest in digests.items()}))
    return found


def keep_proven(ingest: str, digests: Mapping[str, FrameId], disk: Disk) -> None:
    """Put down, durably, that these files (by path below the volume) were proven; OSError if that fails."""
    below = {target.removeprefix(f"{MASTERS}/"): digest for target, digest in digests.items()}
    name = f"{ingest}-{new_token(8)}{_PROVEN}"
    write_new(disk, INCOMING, name, incoming_format.encode_proven(ingest, below), by="ingest")


def keep_record(
    record: Incoming, volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]
) -> None:
    """Write a record to volumes that lack it; durable on each before anything of it is copied there."""
    for volume in volumes:
        try:
            write_new(
                volume.disk, INCOMING, f"{record.id}{_RECORD}", incoming_format.encode(record), by="ingest"
            )
        except OSError as error:
            failed(volume, cannot_write(volume, error))


def settle(
    record: Incoming, volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]
) -> None:
    """Make durable what a run listed and stated and could not sync any more: no run says it again."""
    for volume in volumes:
        try:
            for roll in record.rolls:
                history = f"{MASTERS}/{roll.folder}/ascmhl"
                if volume.disk.files(history):
                    volume.disk.sync_folder(history)
            for month in volume.disk.folders(JOURNAL):
                volume.disk.sync_folder(f"{JOURNAL}/{month}")
        except OSError as error:
            failed(volume, cannot_write(volume, error))


def forget_record(
    record: Incoming, volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]
) -> None:
    """Take a record, and what was put down beside it, from volumes that hold what it lists."""
    for volume in volumes:
        try:
            for name in volume.disk.files(INCOMING):
                if name.startswith(f"{record.id}-") and name.endswith(_PROVEN):
                    volume.disk.remove(f"{INCOMING}/{name}")
            volume.disk.remove(f"{INCOMING}/{record.id}{_RECORD}")
            volume.disk.sync_folder(INCOMING)
        except OSError as error:
            failed(volume, cannot_write(volume, error))


def forget_proven(volumes: Sequence[Volume], failed: Callable[[Volume, ArchiveError], None]) -> None:
    """Remove what was put down beside records that are there no more, as a loss of power may leave it."""
    for volume in volumes:
        try:
            names = volume.disk.files(INCOMING)
            records = {name.removesuffix(_RECORD) for name in names if name.endswith(_RECORD)}
            orphans = [
                name for name in names if name.endswith(_PROVEN) and name.rpartition("-")[0] not in records
            ]
            for name in orphans:
                volume.disk.remove(f"{INCOMING}/{name}")
            if orphans:
                volume.disk.sync_folder(INCOMING)
        except OSError as error:
            failed(volume, cannot_write(volume, error))
