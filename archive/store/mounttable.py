"""What the mount table tells of a place: the type of its file system, where it is mounted, and from what."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

MOUNTS = Path("/proc/self/mounts")


@dataclass(frozen=True, kw_only=True)
class Mount:
    """One mounted file system; ``source`` is a device or whatever else it is mounted from."""

    point: Path
    kind: str
    source: str


def mount_of(place: Path, table: Path = MOUNTS) -> Mount | None:
    """The mount that a place lies in, as the system lists it; None where it lists none."""
    try:
        lines = table.read_bytes().splitlines()
    except OSError:
        return None
    here = os.fsencode(place.resolve())
    best: tuple[bytes, list[bytes]] | None = None
    for line in lines:
        fields = line.split(b" ")
        if len(fields) < 3:
            continue
        point = _unescaped(fields[1])
        within = here == point or here.startswith(point.rstrip(b"/") + b"/")
        # Of mounts over each other, the last one is seen.
        if within and (best is None or len(point) >= len(best[0])):
            best = point, fields
    if best is None:
        return None
    return Mount(
        point=Path(os.fsdecode(best[0])),
        kind=best[1][2].decode("ascii", "replace"),
        source=os.fsdecode(_unescaped(best[1][0])),
    )


def mount_kind(place: Path, table: Path = MOUNTS) -> str:
    """The type of the file system at a place as the mount table names it; empty where there is none."""
    found = mount_of(place, table)
    return found.kind if found is not None else ""


def _unescaped(field: bytes) -> bytes:
    """A mount table writes space, tab, newline and backslash as octal."""
    for code in (b"040", b"011", b"012", b"134"):
        field = field.replace(b"\\" + code, bytes([int(code, 8)]))
    return field
