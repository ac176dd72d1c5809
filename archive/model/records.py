"""What was done about records that are no masters and no entries: surveys, files of the activity index."""

from __future__ import annotations

from dataclasses import dataclass

from archive.errors import Exit


@dataclass(frozen=True, kw_only=True)
class RecordNote:
    """What was done about a record on a volume (by name), or why nothing could be."""

    volume: str
    path: str
    text: str


@dataclass(frozen=True, kw_only=True)
class RecordsReport:
    """Records that were brought to a volume, those that were mended there, and those that could not be."""

    brought: tuple[RecordNote, ...]
    mended: tuple[RecordNote, ...]
    failed: tuple[RecordNote, ...]

    @property
    def exit_code(self) -> Exit:
        return Exit.ATTENTION if self.failed else Exit.DONE
