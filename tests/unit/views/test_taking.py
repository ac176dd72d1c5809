"""What became of a card, told to people."""

from __future__ import annotations

import io

from rich.console import Console
from support.reports import ingest_report

from archive.errors import Exit
from archive.model.results import FileNote, HistoryCheck, RollResult, VolumeResult
from archive.views.report import Report
from archive.views.taking import tell_ingest

NOTE = FileNote(path="a", text="x")


def told(**more: object) -> str:
    sink = io.StringIO()
    tell_ingest(ingest_report(**more), Report(Console(file=sink, width=200, highlight=False)))
    return sink.getvalue()


def test_an_empty_a_held_and_a_fresh_card_are_told_apart() -> None:
    assert "nothing to take in" in told()
    assert "2 files are held already" in told(held=(NOTE, NOTE))
    text = told(copied=3, copied_size=4_500_000, failed=(NOTE,), waiting=("w",))
    assert "3 files copied (4.5 MB), 0 held already, 0 ignored, 1 failed" in text
    assert "still on the card" in text
    assert "Unfinished: w" in text


def test_a_card_that_is_held_already_is_two_lines_its_name_and_that() -> None:
    assert len(told(held=(NOTE,)).splitlines()) == 2


def test_rolls_volumes_and_sequences_are_named() -> None:
    roll = RollResult(
        id="7c1f9a2e",
        folder="2026-03-18/n-7c1f9a2e",
        camera="c",
        night="2026-03-18",
        files=3,
        frames=2,
        size=9,
    )
    text = told(
        copied=3,
        rolls=(roll,),
        volumes=(VolumeResult(name="BL\x1bUE", grade="direct"),),
        sequences=("2026-03-18/n/1",),
    )
    assert "masters/2026-03-18/n-7c1f9a2e: 2 frames, 3 files" in text
    assert "BL\\x1bUE: every file read back" in text
    assert "Sequences found: 2026-03-18/n/1" in text


def test_the_cards_own_hash_list_is_told_and_what_is_wrong_with_it_needs_someone() -> None:
    good = HistoryCheck(folder=".", generations=1, verified=6, unlisted=0, faults=())
    bad = HistoryCheck(folder="A", generations=2, verified=5, unlisted=2, faults=(NOTE,))
    text = told(copied=6, histories=(good, bad))
    assert "The card's own hash list (.): 6 files are what it says." in text
    assert "The card's own hash list (A): 5 files are what it says, 2 are not in it." in text
    assert "Not as the card's own hash list says:" in text
    assert ingest_report(copied=6, histories=(good,)).exit_code is Exit.DONE
    assert ingest_report(copied=6, histories=(good, bad)).exit_code is Exit.ATTENTION


def test_what_an_interrupted_run_brought_and_this_one_listed_is_no_nothing_new() -> None:
    roll = RollResult(id="7c1f9a2e", folder="f", camera="c", night="2026-03-18", files=2, frames=2, size=1)
    text = told(held=(NOTE, NOTE), rolls=(roll,))
    assert "All 2 files lie here already; what was interrupted is completed." in text
    assert "Nothing new" not in text
