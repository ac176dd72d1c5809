"""Volumes made ready for an ingest: writable, locked, tidy, of one journal; one that fails is left out."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass

from archive.catalogue.books import Books
from archive.errors import ArchiveError, shown
from archive.journal.uniting import unite
from archive.model.entry import Change, Draft
from archive.model.identity import new_token
from archive.store.durable import tidy
from archive.store.ports import Disk
from archive.store.volumes import Volume

_TRIAL = bytes(4096)
"""Room for an entry at the least: a volume that has not even that can take part in nothing."""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A volume that takes no part in a run, and why."""

    volume: Volume
    error: ArchiveError

    @property
    def said(self) -> str:
        return (
            f"{shown(self.volume.name)} was left out: {self.error.message} Nothing was brought there; "
            "run the same command again with it and this card, and it is completed"
        )


def make_ready(books: Books, locks: ExitStack) -> list[LeftOut]:
    """Make every volume in use ready; those that cannot be are written no more, and told.

    Locks are held until ``locks`` is left.

    Raises
    ------
    ArchiveError : when no volume is left, naming each.
    """
    left: list[LeftOut] = []

    def lost(disk: Disk, error: OSError) -> None:
        _leave(books, next(each for each in books.volumes if each.disk is disk), error, left)

    books.log.lost = lost
    # In one order for everyone: two programs that share volumes never wait for each other.
    for volume in sorted(books.volumes, key=lambda volume: volume.id):
        try:
            _try(volume)
            locks.enter_context(volume.disk.lock("ingest", "An ingest"))
            tidy(volume.disk, "ingest")
        except (ArchiveError, OSError) as error:
            _leave(books, volume, error, left)
    for volume in books.volumes[1:]:
        _unite(books, volume, left)
    try:
        books.sync()
        _introduce(books)
    except OSError as error:
        # With more than one volume, the journal leaves those that fail by itself.
        _leave(books, books.home, error, left)
    return left


def _try(volume: Volume) -> None:
    """Write a little, as an OSError finds out early what would come late."""
    writing = volume.disk.begin(f"incoming/ingest-{new_token(8)}.part")
    try:
        writing.write(_TRIAL)
    finally:
        writing.abandon()


def _leave(books: Books, volume: Volume, error: ArchiveError | OSError, left: list[LeftOut]) -> None:
    left.append(LeftOut(volume=volume, error=_named(volume, error)))
    if len(books.volumes) == 1:
        raise ArchiveError(
            " ".join(each.error.message for each in left),
            hint="Nothing was copied, the card was not read. Mount the volume writable and make room "
            "on it, or name another one.",
        ) from error
    books.leave(volume)


def _named(volume: Volume, error: ArchiveError | OSError) -> ArchiveError:
    name = f"{shown(volume.name)} at {shown(str(volume.root))}"
    if isinstance(error, ArchiveError):
        return ArchiveError(f"{name}: {error.message}", hint=error.hint)
    return ArchiveError(f"{name} cannot be written: {error.strerror or error}.")


def _unite(books: Books, volume: Volume, left: list[LeftOut]) -> None:
    """Volumes written together carry the same journal."""
    if volume is books.home:
        return
    try:
        unite(books.home.disk, volume.disk, compare=False)
        unite(volume.disk, books.home.disk, compare=False)
    except (ArchiveError, OSError) as error:
        try:
            _try(books.home)
        except OSError:
            _leave(books, books.home, error, left)
        else:
            _leave(books, volume, error, left)


def _introduce(books: Books) -> None:
    """The archive knows the names of its volumes."""
    for volume in books.volumes:
        stated = books.catalogue.stated(f"volume:{volume.id}", "volume") or {}
        # What else is known of a volume, such as its device, stands.
        value = {**stated, "name": volume.name, "created": volume.mark.created}
        if stated != value:
            change = Change(subjects=(f"volume:{volume.id}",), layer="volume", value=value)
            books.state(Draft(kind="volume", changes=(change,)))
