"""What uniting two archives answers with, and what a look into the journal does."""

from __future__ import annotations

from dataclasses import dataclass

from archive.errors import Exit
from archive.model.entry import Entry


@dataclass(frozen=True, kw_only=True)
class RollElsewhere:
    """A roll whose masters no volume of this archive holds, as the other one's hash lists tell of it."""

    folder: str
    files: int
    size: int


@dataclass(frozen=True, kw_only=True)
class UniteReport:
    """What came, or would come, from another archive; ``done`` is False where it was only looked at.

    ``given`` are entries that the other one lacked and got. ``faults`` are told in whole sentences.
    """

    other: str
    same_archive: bool
    done: bool
    entries: int
    kinds: tuple[tuple[str, int], ...]
    persons: tuple[str, ...]
    given: int = 0
    rolls: tuple[RollElsewhere, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def exit_code(self) -> Exit:
        if not self.done:
            return Exit.REFUSED
        return Exit.ATTENTION if self.faults else Exit.DONE


@dataclass(frozen=True, kw_only=True)
class JournalLine:
    """One entry as it is listed; ``about`` says in words what it states."""

    entry: Entry
    about: str


@dataclass(frozen=True, kw_only=True)
class JournalView:
    """The newest entries, and everything odd about the journal, in whole sentences.

    ``faults`` are entries that do not count, or are lost; ``noticed`` is what changes no answer.
    """

    entries: int
    lines: tuple[JournalLine, ...]
    faults: tuple[str, ...]
    noticed: tuple[str, ...]

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.faults else Exit.DONE
