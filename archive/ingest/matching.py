"""Which files of a card are those that an unfinished ingest has planned, and whose card it was."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from archive.errors import ArchiveError
from archive.formats.incoming import Incoming, Placement, PlannedRoll
from archive.ingest.card import Card, CardFile
from archive.ingest.reading import CardReadError, read_digest
from archive.ingest.setting import Setting
from archive.ingest.stored_names import escaped_original
from archive.ingest.unfinished import Unfinished
from archive.model.identity import FrameId
from archive.store.masters import roll_path
from archive.store.volumes import Volume


@dataclass(frozen=True, kw_only=True)
class Given:
    """A file of the card for a placement; its digest where that had to be read to know it."""

    file: CardFile
    digest: FrameId | None = None


@dataclass(frozen=True, kw_only=True)
class Matches:
    """What a card gives of unfinished ingests.

    ``given`` is by (roll id, escaped card path), ``placed`` has the rolls by escaped card path. ``at_hand``
    are the ids of the ingests that were of this very card: what they planned and is not given is gone.
    """

    given: Mapping[tuple[str, str], Given]
    placed: Mapping[str, PlannedRoll]
    at_hand: frozenset[str]


def match(
    card: Card,
    files: Sequence[CardFile],
    unfinished: Iterable[Unfinished],
    setting: Setting,
    volumes: Sequence[Volume],
) -> Matches:
    """Match a card's files with what unfinished ingests planned; not with rolls that were stated already.

    A file of the same path, size and time is the planned one. With another time (cards keep local time, and
    that jumps) it is if its bytes are those that lie published, or, where none do, if the card is at hand.
    """
    here = {escaped_original(file.path): file for file in files}
    given: dict[tuple[str, str], Given] = {}
    placed: dict[str, PlannedRoll] = {}
    at_hand = set()
    for each in unfinished:
        pieces = [(r, p) for r in each.record.rolls if r.id not in setting.known_rolls for p in r.files]
        own = _is_at_hand(each.record, here)
        if own:
            at_hand.add(each.record.id)
        for roll, placement in pieces:
            file = here.get(placement.source)
            if file is None or file.size != placement.size:
                continue
            found: Given | None = Given(file=file)
            if file.modified_ns != placement.modified_ns:
                found = _moved_in_time(card, file, roll, placement, each, own, setting, volumes)
            if found is not None:
                given[roll.id, placement.source] = found
                placed[placement.source] = roll
    return Matches(given=given, placed=placed, at_hand=frozenset(at_hand))


def _is_at_hand(record: Incoming, here: Mapping[str, CardFile]) -> bool:
    """Whether most of what an ingest planned is on the card, by path, size and what the headers say."""
    planned = [placement for roll in record.rolls for placement in roll.files]
    return 2 * sum(_alike(placement, here.get(placement.source)) for placement in planned) > len(planned)


def _alike(placement: Placement, file: CardFile | None) -> bool:
    return file is not None and (file.size, file.facts) == (placement.size, placement.facts)


def _moved_in_time(
    card: Card,
    file: CardFile,
    roll: PlannedRoll,
    placement: Placement,
    each: Unfinished,
    own: bool,
    setting: Setting,
    volumes: Sequence[Volume],
) -> Given | None:
    published = _published(roll_path(roll.folder, placement.path), each, volumes)
    if published is None:
        return Given(file=file) if own and _alike(placement, file) else None
    setting.engine.checkpoint()
    try:
        digest = read_digest(card.source / file.path)
    except CardReadError:
        # The copying meets the same fault and reports it.
        return None
    return Given(file=file, digest=digest) if digest == published else None


def _published(target: str, each: Unfinished, volumes: Sequence[Volume]) -> FrameId | None:
    """The digest of what an earlier run published: as it put it down, else as it lies there."""
    for volume in volumes:
        try:
            if volume.disk.stat(target) is not None:
                return each.digests.get(target) or FrameId(volume.disk.read_back(target)[0])
        except (ArchiveError, OSError):
            # Proving it meets the same fault and leaves the volume out.
            continue
    return None
