"""Whether what is to come fits: known of every volume before the first byte."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from archive.errors import ArchiveError, shown
from archive.ingest.errand import Errand
from archive.ingest.lane import cannot_write
from archive.model.results import FileNote
from archive.store.naming import Naming
from archive.store.traits import Traits
from archive.store.volumes import Volume

_ASIDE = 8 << 20
"""Bytes for hash lists, entries and what file systems keep for themselves, beside one in a hundred."""


def check_room(errands: Sequence[Errand], volumes: Sequence[Volume], before: Sequence[Errand] = ()) -> None:
    """Refuse what a volume has no room for.

    Parameters
    ----------
    before : what other cards are bringing meanwhile, and has not taken its room yet.

    Raises
    ------
    ArchiveError : naming each volume that is too small.
    """
    short = []
    for volume in volumes:
        coming = _lacking([*errands, *before], volume)
        needed = sum(errand.size for errand in coming)
        needed += needed // 100 + _ASIDE
        free = volume.disk.free() if coming else needed
        if free < needed:
            short.append(f"{shown(volume.name)} has {free / 1e9:.1f} GB free and needs {needed / 1e9:.1f} GB")
    if short:
        raise ArchiveError(
            f"There is no room for this card: {', '.join(short)}.",
            hint="Nothing was copied and the card was not changed. Make room, or name another volume.",
        )


def check_limits(errands: Sequence[Errand], volumes: Sequence[Volume]) -> list[FileNote]:
    """Refuse files that a volume's file system cannot hold; what it keeps only roughly is remarked.

    Raises
    ------
    ArchiveError : naming the first such file, and its volume.
    """
    remarks = []
    for volume in volumes:
        coming = _lacking(errands, volume)
        if not coming:
            continue
        try:
            traits = volume.disk.traits()
        except OSError as error:
            raise cannot_write(volume, error) from error
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
    return found


def _kind(traits: Traits) -> str:
    return f" ({traits.kind})" if traits.kind else ""
