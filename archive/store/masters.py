"""The masters of one volume: their hash-list generations, and reading them with proof."""

from __future__ import annotations

import socket
from collections.abc import Sequence
from datetime import datetime

from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats.hashchain import ChainEntry, c4, chain_bytes, read_chain
from archive.formats.hashlist import (
    HashedFile,
    Process,
    generation_of,
    manifest_bytes,
    manifest_name,
    read_manifest,
)
from archive.model.identity import short
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes, temporary_name, write_new
from archive.store.ports import Disk
from archive.store.volumes import CHAIN, MASTERS, chain_state, held_files


def roll_path(folder: str, path: str) -> str:
    """Where a roll's file lies below its volume."""
    return f"{MASTERS}/{folder}/{path}"


def record_generation(
    disk: Disk,
    folder: str,
    files: Sequence[HashedFile],
    *,
    created: datetime,
    tool_version: str,
    process: Process,
    author: str | None,
) -> None:
    """Add a generation with these files to a roll's history; durable before it returns.

    Files that the history holds already with the same digest are left out; with nothing left, nothing
    is written. A manifest that a crash left outside the chain is taken up if it says the same, and
    removed otherwise: no one was told of it.

    Raises
    ------
    DamagedFileError : when the history vouches for other bytes of one of the files, or cannot be read.
    """
    held = held_files(disk, folder)
    news = [f for f in files if f.path not in held or held[f.path].xxh128 != f.xxh128]
    if not news:
        return
    other = next((f for f in news if f.path in held and f.action != "failed"), None)
    if other is not None:
        # Written down, the contradiction would make the whole history unreadable.
        raise DamagedFileError(
            f"The hash list of {shown(folder)} holds other bytes of {shown(other.path)} already.",
            hint="Nothing was written. The earlier record stands; audit this volume.",
        )
    history = f"{MASTERS}/{folder}/ascmhl"
    chain = chain_state(disk, folder)
    links = list(read_chain(chain)) if chain else []
    number = len(links) + 1
    name, data = _left_over(disk, history, number, news)
    if data is None:
        data = manifest_bytes(
            news,
            created=created,
            hostname=socket.gethostname(),
            tool_version=tool_version,
            process=process,
            author=author,
            held=held.values(),
        )
        name = manifest_name(number, folder.rpartition("/")[2], created)
        write_new(disk, history, name, data, by="ingest")
    links.append(ChainEntry(generation=number, path=name, c4=c4(data)))
    _write_chain(disk, folder, chain_bytes(links), first=chain is None)


def _left_over(disk: Disk, history: str, number: int, news: Sequence[HashedFile]) -> tuple[str, bytes | None]:
    wanted = {(file.path, file.xxh128) for file in news}
    for name in disk.files(history):
        found = generation_of(name)
        if found is not None and found > number:
            # A crash leaves one manifest at the most: here the chain itself was lost or cut.
            raise DamagedFileError(
                f"The hash list {shown(name)} of {shown(history)} is in no chain, nor are others before it.",
                hint="Nothing was written. Take the roll's ascmhl folder from another volume.",
            )
    for name in disk.files(history):
        if generation_of(name) != number:
            continue
        data = read_bytes(disk, f"{history}/{name}")
        try:
            if {(file.path, file.xxh128) for file in read_manifest(data, name).files} == wanted:
                return name, data
        except DamagedFileError:
            pass
        disk.remove(f"{history}/{name}")
        disk.sync_folder(history)
    return "", None


def _write_chain(disk: Disk, folder: str, data: bytes, *, first: bool) -> None:
    target = f"{MASTERS}/{folder}/{CHAIN}"
    history, _, name = target.rpartition("/")
    if first:
        write_new(disk, history, name, data, by="ingest")
        return
    temporary = temporary_name("ingest")
    writing = disk.begin(temporary)
    try:
        writing.write(data)
        writing.finish()
        disk.replace(temporary, target)
    except BaseException:
        writing.abandon()
        raise
    disk.sync_folder(history)


def read_master(disk: Disk, folder: str, path: str, digest: str) -> bytes:
    """A master's bytes, proven by their digest.

    Raises
    ------
    DamagedFileError : when the file is there and its bytes are not the recorded ones.
    FileNotFoundError : when it is not there.
    ArchiveError : when it cannot be read.
    """
    where = roll_path(folder, path)
    try:
        data = read_bytes(disk, where)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise ArchiveError(
            f"{shown(where)} cannot be read: {error.strerror}.",
            hint="It was not changed. Check the drive; another volume may hold a sound copy.",
        ) from error
    if digest_bytes(data) != digest:
        raise DamagedFileError(
            f"{shown(where)} is damaged: its bytes no longer match the record {short(digest)}.",
            hint="It was not used and not changed. "
            "Another volume may hold a sound copy; run `noctuary audit`.",
        )
    return data
