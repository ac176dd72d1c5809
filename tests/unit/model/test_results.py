"""Which results need a person, by their exit code."""

from __future__ import annotations

from typing import Any

import pytest

from archive.errors import Exit
from archive.model.results import (
    AuditFinding,
    AuditReport,
    ExportReport,
    FileNote,
    IngestReport,
    MadeFile,
    RebuildReport,
)

NOTE = FileNote(path="DCIM/100NOCTU/NOCT0001.DNG", text="cannot be read")


def ingest(**changed: Any) -> IngestReport:
    values: dict[str, Any] = {
        "source": "CARD",
        "copied": 3,
        "copied_size": 30,
        "held": (),
        "ignored": (),
        "failed": (),
        "remarks": (),
        "rolls": (),
        "volumes": (),
    }
    return IngestReport(**values | changed)


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({}, Exit.DONE),
        ({"ignored": (NOTE,)}, Exit.DONE),
        ({"remarks": (NOTE,)}, Exit.DONE),
        ({"failed": (NOTE,)}, Exit.ATTENTION),
        ({"waiting": ("CARD",)}, Exit.ATTENTION),
        ({"copied": 0}, Exit.ATTENTION),
        ({"copied": 0, "held": (NOTE,)}, Exit.DONE),
    ],
)
def test_an_ingest_needs_someone_when_files_failed_wait_or_were_not_there(
    changed: dict[str, Any], code: Exit
) -> None:
    assert ingest(**changed).exit_code is code


@pytest.mark.parametrize(
    ("state", "code"),
    [("made", Exit.DONE), ("fresh", Exit.DONE), ("failed", Exit.ATTENTION), ("differs", Exit.ATTENTION)],
)
def test_an_export_needs_someone_when_a_file_failed_or_differs(state: str, code: Exit) -> None:
    made = MadeFile(path="exports/a.jpg", state=state)
    assert ExportReport(job=None, spec="still-web", files=(made,)).exit_code is code


@pytest.mark.parametrize("trouble", [{"contested": ("a",)}, {"lost_frames": (NOTE,)}])
def test_an_export_needs_someone_when_recipes_are_contested_or_frames_lost(trouble: dict[str, Any]) -> None:
    assert ExportReport(job=None, spec="still-web", files=(), **trouble).exit_code is Exit.ATTENTION


def test_an_audit_needs_someone_when_it_found_something() -> None:
    values: dict[str, Any] = {"volumes": ("BLUE",), "files": 1, "size": 1, "entries": 1, "derivatives": 0}
    found = AuditFinding(volume="BLUE", path="a", fault="damaged")
    assert AuditReport(**values, findings=(), grade="direct").exit_code is Exit.DONE
    assert AuditReport(**values, findings=(found,), grade="direct").exit_code is Exit.ATTENTION


def test_a_rebuild_needs_someone_when_something_was_set_aside() -> None:
    values: dict[str, Any] = {"entries": 1, "rolls": 1, "frames": 1, "sequences": 1}
    assert RebuildReport(**values, faults=()).exit_code is Exit.DONE
    assert RebuildReport(**values, faults=("x",)).exit_code is Exit.ATTENTION
