"""The journal and a uniting as people read them."""

from __future__ import annotations

import io

from rich.console import Console
from support.builders import entry, rating

from archive.model.uniting import JournalLine, JournalView, RollElsewhere, UniteReport
from archive.views.journalreport import journal_told, unite_told
from archive.views.report import Report


def sheet() -> tuple[Report, io.StringIO]:
    sink = io.StringIO()
    return Report(Console(file=sink, width=200, highlight=False)), sink


def united(**changed: object) -> str:
    values: dict[str, object] = {
        "other": "/media/other\x1b",
        "same_archive": True,
        "done": True,
        "entries": 3,
        "kinds": (("rating", 2), ("recipe", 1)),
        "persons": ("Ragna",),
        "given": 4,
    }
    report, sink = sheet()
    unite_told(report, UniteReport(**values | changed))  # type: ignore[arg-type]
    return sink.getvalue()


def test_the_journal_is_a_table_with_what_is_odd_below_it() -> None:
    made = entry(rating(1, 3), counter=12)
    line = JournalLine(entry=made, about="rated 3: NOCT0001.DNG")
    report, sink = sheet()
    journal_told(report, JournalView(entries=12, lines=(line,), faults=("lost [b]",), noticed=("a clock",)))
    text = sink.getvalue()
    for part in (
        "12 entries.",
        "2026-03-19 06:15:02",
        "Ingrid",
        made.id[7:15],
        "rated 3",
        "lost [b]",
        "a clock",
    ):
        assert part in text
    assert "Every entry is whole" not in text


def test_a_sound_journal_is_said_to_be() -> None:
    report, sink = sheet()
    journal_told(report, JournalView(entries=7, lines=(), faults=(), noticed=()))
    assert sink.getvalue() == "7 entries.\nEvery entry is whole, and counts.\n"


def test_copies_of_one_archive_are_told_what_each_got() -> None:
    text = united()
    assert "Taken in from /media/other\\x1b: 3 entries (2 rating, 1 recipe, by Ragna)." in text
    assert "Given to it: 4 entries." in text
    assert "only there" not in text


def test_an_archive_begun_apart_is_shown_before_anything_is_done() -> None:
    roll = RollElsewhere(folder="2026-03-18/one-7c1f9a2e", files=6, size=2_500_000)
    text = united(done=False, same_archive=False, given=0, rolls=(roll,), faults=("one is damaged",))
    assert "It would bring 3 entries" in text
    assert "2026-03-18/one-7c1f9a2e: 6 files, 2.5 MB" in text
    assert "one is damaged" in text
    assert "Nothing was changed." in text and "--different" in text
    assert "Given to it" not in text
