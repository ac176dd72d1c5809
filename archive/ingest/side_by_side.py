"""Which cards may be copied at the same time: those on different devices, that share no file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from archive.ingest import opening
from archive.ingest.card import HEAD, Card, CardFile
from archive.model.identity import FrameId
from archive.store.digest import digest_bytes


def device_of(source: Path) -> int:
    """The number of the device that a source lies on; 0 where there is none."""
    try:
        return source.stat().st_dev
    except OSError:
        return 0


def fitting(devices: Sequence[int]) -> int:
    """How many of the first cards lie on different devices: two on one would only slow each other."""
    count = 0
    while count < len(devices) and devices[count] not in devices[:count]:
        count += 1
    return count


def has_twin(card: Card, others: Sequence[Card]) -> bool:
    """Whether a file of a card may be one of the others': the same size, and the same first bytes."""
    sizes: dict[int, list[tuple[Card, CardFile]]] = {}
    for other in others:
        for file in other.files:
            sizes.setdefault(file.size, []).append((other, file))
    heads: dict[tuple[Path, str], FrameId | None] = {}

    def head(of: Card, file: CardFile) -> FrameId | None:
        key = (of.source, file.path)
        if key not in heads:
            try:
                with opening.open_plain(of.source / file.path, buffered=True) as stream:
                    heads[key] = digest_bytes(stream.read(HEAD))
            except OSError:
                heads[key] = None
        return heads[key]

    for file in card.files:
        alike = sizes.get(file.size, ())
        if any(head(card, file) == head(other, each) for other, each in alike):
            return True
    return False
