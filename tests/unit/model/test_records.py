"""What is told of records."""

from __future__ import annotations

from archive.errors import Exit
from archive.model.records import RecordNote, RecordsReport


def test_only_what_could_not_be_mended_needs_someone() -> None:
    note = RecordNote(volume="BLUE", path="survey/a/b", text="is damaged")
    assert RecordsReport(brought=(note,), mended=(note,), failed=()).exit_code is Exit.DONE
    assert RecordsReport(brought=(), mended=(), failed=(note,)).exit_code is Exit.ATTENTION
