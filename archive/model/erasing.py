"""Whether a card may be erased: what was read on it, which copies are proven, what is missing."""

from __future__ import annotations

from dataclasses import dataclass

from archive.errors import Exit
from archive.model.identity import FrameId
from archive.model.results import FileNote


@dataclass(frozen=True, kw_only=True)
class CardItem:
    """One file of a card as it reads now: its digest, or in ``fault`` why there is none."""

    path: str
    size: int
    digest: FrameId | None = None
    fault: str | None = None


@dataclass(frozen=True, kw_only=True)
class CardReading:
    """A card read whole; ``grade`` is the weakest reading of its files, None when there was none."""

    source: str
    items: tuple[CardItem, ...]
    ignored: tuple[FileNote, ...]
    failed: tuple[FileNote, ...]
    grade: str | None


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What one volume proves about a card: how many of its files, on which device, and how that is known.

    ``declared`` says that the owner named the device; else mounted file systems are told apart.
    """

    volume: str
    device: str
    declared: bool
    how: str
    files: int


@dataclass(frozen=True, kw_only=True)
class Lacking:
    """Files that lack a proven copy for one and the same reason."""

    reason: str
    files: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class EraseAnswer:
    """May this card be erased? ``checked`` is when it was asked, in UTC.

    ``wanted`` is the number of copies on different devices; ``within_s`` how old an audit may be.
    """

    source: str
    may_erase: bool
    checked: str
    files: int
    size: int
    wanted: int
    within_s: float
    card_grade: str | None
    evidence: tuple[Evidence, ...]
    lacking: tuple[Lacking, ...]
    ignored: tuple[FileNote, ...]
    remarks: tuple[str, ...] = ()

    @property
    def exit_code(self) -> Exit:
        return Exit.DONE if self.may_erase else Exit.ATTENTION
