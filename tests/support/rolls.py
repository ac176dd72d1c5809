"""Small rolls with a hash list history, written plainly to a folder, for tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import xxhash

from archive.formats.hashchain import CHAIN_NAME, ChainEntry, c4, chain_bytes, read_chain
from archive.formats.hashlist import HashedFile, Process, manifest_bytes, manifest_name

STARTED = datetime(2026, 3, 19, 6, 15, 2, tzinfo=UTC)


def hashed(
    path: str, data: bytes = b"", *, action: str = "original", hashed: datetime = STARTED
) -> HashedFile:
    """What a hash list says about a file of these bytes."""
    return HashedFile(
        path=path,
        size=len(data),
        modified=datetime(2026, 3, 18, 22, 30, 16, tzinfo=UTC),
        xxh128=xxhash.xxh3_128_hexdigest(data),
        action=action,
        hashed=hashed,
    )


def manifest(files: Sequence[HashedFile], *, held: Sequence[HashedFile] = (), **given: object) -> bytes:
    """A generation's document with ordinary values where none are given."""
    process: Process = "transfer"
    values: dict[str, object] = {
        "created": STARTED,
        "hostname": "dome",
        "tool_version": "0.1.0",
        "process": process,
        "author": "A. Watcher",
        "comment": None,
        "held": held,
    }
    return manifest_bytes(files, **(values | given))  # type: ignore[arg-type]


def write_generation(
    roll: Path,
    contents: Mapping[str, bytes],
    *,
    held: Mapping[str, bytes] | None = None,
    empty_folders: Sequence[str] = (),
    action: str = "original",
) -> Path:
    """Put files below ``roll`` and append the generation that lists them; gives the manifest's path."""
    for path, data in contents.items():
        target = roll / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    for path in empty_folders:
        (roll / path).mkdir(parents=True, exist_ok=True)
    history = roll / "ascmhl"
    history.mkdir(exist_ok=True)
    chain = history / CHAIN_NAME
    entries = read_chain(chain.read_bytes()) if chain.exists() else ()
    number = len(entries) + 1
    started = STARTED + timedelta(hours=number - 1)
    document = manifest(
        [hashed(path, data, action=action, hashed=started) for path, data in contents.items()],
        created=started,
        held=[hashed(path, data) for path, data in (held or {}).items()],
        empty_folders=empty_folders,
    )
    name = manifest_name(number, roll.name, started)
    (history / name).write_bytes(document)
    chain.write_bytes(chain_bytes([*entries, ChainEntry(generation=number, path=name, c4=c4(document))]))
    return history / name
