"""A card read whole and copied nowhere: to ask what of it is held and proven."""

from __future__ import annotations

from pathlib import Path

from archive.errors import shown
from archive.ingest.card import read_card
from archive.ingest.setting import Progress
from archive.model.erasing import CardItem, CardReading
from archive.model.identity import FrameId
from archive.store.mounttable import mount_kind
from archive.store.ports import Grade
from archive.store.readback import read_back

_WEAKEST = (Grade.CACHED, Grade.EVICTED, Grade.DIRECT)


def reread_card(source: Path, progress: Progress) -> CardReading:
    """The digest of every file on a card that is not ignored, read around the cache where that works.

    Raises
    ------
    UsageError : when there is no such folder.
    ArchiveError : when the folder cannot be listed at all.
    """
    card = read_card(source, lambda done, total: progress("Reading headers", done, total))
    total = sum(file.size for file in card.files)
    done = 0
    items = []
    grade: Grade | None = None
    kind = mount_kind(source)
    for file in card.files:
        try:
            digest, how = read_back(source / file.path, kind=kind, ours=False)
        except OSError as error:
            fault = f"cannot be read on the card ({error.strerror})"
            items.append(CardItem(path=shown(file.path), size=file.size, fault=fault))
        else:
            grade = how if grade is None else min(grade, how, key=_WEAKEST.index)
            items.append(CardItem(path=shown(file.path), size=file.size, digest=FrameId(digest)))
        done += file.size
        progress("Reading the card", done, total)
    return CardReading(
        source=str(source),
        items=tuple(items),
        ignored=card.ignored,
        failed=card.failed,
        grade=str(grade) if grade is not None else None,
    )
