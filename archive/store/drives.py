"""Which file system a place lies on, and which drives are under that: two on one drive are lost together."""

from __future__ import annotations

import os
from collections.abc import Hashable
from dataclasses import dataclass
from pathlib import Path

from archive.store.mounttable import MOUNTS, mount_of

_SYSTEM = Path("/sys/dev/block")
_DEEPEST = 16
"""Layers of mapping, encryption and volume groups under a file system; real ones have two or three."""


@dataclass(frozen=True, kw_only=True)
class Footing:
    """What a place lies on: the number of its file system, and the drives under it as the system names them.

    ``drives`` is empty where the system does not tell: network shares, file systems of other programs.
    """

    system: int
    drives: frozenset[str] = frozenset()


def footing(place: Path, *, blocks: Path = _SYSTEM, mounts: Path = MOUNTS) -> Footing | None:
    """What a place lies on; None where there is none.

    Partitions, encrypted and mapped devices, and files mounted as devices are followed down to whole drives.
    A subvolume is numbered by itself; the device that it is mounted from tells what it lies on.
    """
    try:
        system = place.stat().st_dev
    except OSError:
        return None
    number = system
    if not os.major(system):
        mount = mount_of(place, mounts)
        try:
            number = 0 if mount is None else Path(mount.source).stat().st_rdev
        except (OSError, ValueError):
            number = 0
    drives = drives_under(number, blocks=blocks, mounts=mounts) if number else frozenset()
    return Footing(system=system, drives=drives)


def pool_of(place: Path, *, mounts: Path = MOUNTS) -> Hashable:
    """What the free room of a place is shared by: a file system, or the device that several are mounted from.

    Raises
    ------
    OSError : when there is no such place.
    """
    system = place.stat().st_dev
    if not os.major(system):
        # Subvolumes are numbered apart and fill one and the same file system.
        mount = mount_of(place, mounts)
        if mount is not None and mount.source.startswith("/"):
            return mount.source
    return system


def drives_under(number: int, *, blocks: Path = _SYSTEM, mounts: Path = MOUNTS) -> frozenset[str]:
    """The whole drives under a block device; none as soon as one of them cannot be told."""
    try:
        here = (blocks / f"{os.major(number)}:{os.minor(number)}").resolve(strict=True)
    except OSError:
        return frozenset()
    return _below(here, blocks, mounts, _DEEPEST)


def _below(here: Path, blocks: Path, mounts: Path, deepest: int) -> frozenset[str]:
    if deepest == 0:
        return frozenset()
    if (here / "partition").exists():
        return _below(here.parent, blocks, mounts, deepest - 1)
    try:
        parts = sorted((here / "slaves").iterdir())
    except OSError:
        parts = []
    if parts:
        found = [_below(part.resolve(), blocks, mounts, deepest - 1) for part in parts]
        return frozenset().union(*found) if all(found) else frozenset()
    if "virtual" not in here.parts:
        return frozenset((here.name,))
    try:
        backing = Path((here / "loop" / "backing_file").read_text().strip())
    except OSError:
        return frozenset()
    below = footing(backing, blocks=blocks, mounts=mounts)
    return below.drives if below is not None else frozenset()


def card_under(place: Path, *, blocks: Path = _SYSTEM, mounts: Path = MOUNTS) -> Footing | None:
    """What the card lies on that a place is part of; None for a folder of this machine's own drive.

    The card is whatever is mounted at the place or above it, unless that is the drive of the system itself.
    """
    point = place.resolve()
    while not point.is_mount() and point != point.parent:
        point = point.parent
    if point == point.parent:
        return None
    card = footing(point, blocks=blocks, mounts=mounts)
    own = footing(Path(point.anchor), blocks=blocks, mounts=mounts)
    if card is None or (own is not None and card.drives and card.drives <= own.drives):
        return None
    return card
