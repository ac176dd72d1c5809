"""Whether what is to come fits: known of every volume before the first byte."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass, field

from archive.errors import ArchiveError, shown
from archive.ingest.errand import Errand
from archive.ingest.troubles import cannot_write
from archive.model.results import FileNote
from archive.store.naming import Naming
from archive.store.traits import Traits
from archive.store.volumes import Volume

_ASIDE = 8 << 20
"""Bytes for hash lists, entries and what file systems keep for themselves, beside one in a hundred."""


Failed = Callable[[Volume, ArchiveError], None]
"""Told of a volume that fails while it is asked; the others are asked on."""


def _raised(_volume: Volume, error: ArchiveError) -> None:
    raise error


def check_room(
    errands: Sequence[Errand],
    volumes: Sequence[Volume],
    before: Sequence[Errand] = (),
    failed: Failed = _raised,
) -> None:
    """Refuse what a volume has no room for; volumes on one file system share its room.

    Parameters
    ----------
    before : what other cards are bringing meanwhile, and has not taken its room yet.

    Raises
    ------
    ArchiveError : naming each volume, or volumes together, that are too small.
    """
    sharing: dict[Hashable, _Need] = {}
    for volume in volumes:
        try:
            coming = _lacking([*errands, *before], volume)
            if not coming:
                continue
            disk = volume.disk
            cluster = max(disk.cluster(), 1)
            need = sharing.setdefault(disk.system(), _Need(free=disk.free()))
        except OSError as error:
            failed(volume, cannot_write(volume, error))
            continue
        size = sum(-(-errand.size // cluster) * cluster for errand in coming)
        need.size += size + size // 100 + _ASIDE
        need.names.append(shown(volume.name))
    short = [need.said for need in sharing.values() if need.free < need.size]
    if short:
        raise ArchiveError(
            f"There is no room for this card: {', '.join(short)}.",
            hint="Nothing was copied and the card was not changed. Make room, or name another volume.",
        )


@dataclass(kw_only=True)
class _Need:
    """What is to come to one file system, in bytes, and the volumes on it."""

    free: int
    size: int = 0
    names: list[str] = field(default_factory=list)

    @property
    def said(self) -> str:
        free, size = f"{self.free / 1e9:.1f} GB", f"{self.size / 1e9:.1f} GB"
        if len(self.names) == 1:
            return f"{self.names[0]} has {free} free and needs {size}"
        return f"{' and '.join(self.names)} lie on one file system, which has {free} free, and need {size}"


def check_limits(
    errands: Sequence[Errand], volumes: Sequence[Volume], failed: Failed = _raised
) -> list[FileNote]:
    """Refuse files that a volume's file system cannot hold; what it keeps only roughly is remarked.

    Raises
    ------
    ArchiveError : naming the first such file, and its volume.
    """
    remarks = []
    for volume in volumes:
        try:
            coming = _lacking(errands, volume)
            if not coming:
                continue
            traits = volume.disk.traits()
        except OSError as error:
            failed(volume, cannot_write(volume, error))
            continue
        largest = max(coming, key=lambda errand: errand.size)
        if traits.largest_file is not None and largest.size > traits.largest_file:
            raise ArchiveError(
                f"{shown(largest.name)} has {largest.size / 1e9:.1f} GB, and the file system of "
                f"{shown(volume.name)}{_kind(traits)} holds no file over {traits.largest_file / 1e9:.1f} GB.",
                hint="Nothing was copied and the card was not changed. Name another volume for this card, or "
                "format this one with a file system without that limit.",
            )
        remarks += [FileNote(path=shown(volume.name), text=text) for text in _rough(traits, coming)]
    return remarks


def _lacking(errands: Collection[Errand], volume: Volume) -> list[Errand]:
    return [e for e in errands if volume.id in e.wanted and (e.fresh or volume.disk.stat(e.target) is None)]


def _rough(traits: Traits, coming: Sequence[Errand]) -> list[str]:
    found = []
    step = traits.time_step_ns
    if step >= 10**9 and any(errand.modified_ns % step for errand in coming):
        found.append(
            f"its file system{_kind(traits)} keeps times in steps of {step / 1e9:g} s; "
            "the hash list keeps the card's own times"
        )
    if traits.naming is Naming.CLAIM:
        found.append(
            f"its file system{_kind(traits)} has no way to name a file without replacing another; "
            "no other program should write there meanwhile"
        )
    if not traits.keeps_read_only:
        found.append(
            f"its file system{_kind(traits)} keeps no read-only mark: nothing but care keeps other programs "
            "from writing to masters there, and an audit notices if they did"
        )
    return found


def _kind(traits: Traits) -> str:
    return f" ({traits.kind})" if traits.kind else ""
