"""The journal as people look at it."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import spoil
from support.exports import SEQUENCE, studio

from archive.errors import Exit
from archive.views.journalreport import journal_told
from archive.views.report import Report


def test_the_newest_entries_come_first_in_words(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.statements.rate([SEQUENCE], 4)
    place.workspace.statements.keyword([f"{SEQUENCE}#2"], "river ice", on=True)
    view = place.workspace.custody.journal(newest=2)
    assert [line.about for line in view.lines] == [
        "given the keyword river ice: NOCT0002.JPG",
        "rated 4: NOCT0001.JPG, NOCT0002.JPG, NOCT0003.JPG and 3 more",
    ]
    assert view.entries == len(list((place.root / "journal").rglob("*.json")))
    assert (view.faults, view.noticed, view.exit_code) == ((), (), Exit.DONE)
    assert place.workspace.custody.journal(newest=0).lines == ()
    place.workspace.close()


def test_what_is_odd_is_told_entry_by_entry_and_takes_no_other_down(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.statements.rate([f"{SEQUENCE}#1"], 4)
    place.workspace.statements.rate([f"{SEQUENCE}#2"], 3)
    (first, _) = sorted((place.root / "journal").rglob("*-rating-*.json"))
    spoil(first)
    (place.root / "journal/notes.txt").write_text("mine")
    place.workspace.close()
    place = place.reopened()
    place.workspace.custody.rebuild(lambda *_: None)
    view = place.workspace.custody.journal(newest=100)
    assert first.name not in [line.entry.name for line in view.lines]
    assert len(view.lines) == view.entries - 1
    assert len(view.faults) == 1 and first.name in view.faults[0]
    assert [told for told in view.noticed if "journal/notes.txt" in told]
    assert view.exit_code is Exit.ATTENTION
    place.workspace.close()


def test_an_empty_journal_is_not_called_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = studio(tmp_path)
    before = place.workspace.custody.journal(newest=0)
    place.workspace.close()
    (place.root / "journal").rename(tmp_path / "elsewhere")
    place = place.reopened()
    view = place.workspace.custody.journal(newest=3)
    journal_told(Report(), view)
    told = capsys.readouterr().out
    assert view.entries == 0 and len(view.faults) == min(before.entries, 20)
    assert "0 entries." in told and "whole" not in told and "is nowhere" in " ".join(told.split())
    assert view.exit_code is Exit.ATTENTION
    place.workspace.close()
