"""The journal as people look at it."""

from __future__ import annotations

from pathlib import Path

from support.builders import entry, exposure, frame_id, own, rating, selection, shared
from support.cards import spoil
from support.exports import SEQUENCE, studio

from archive.custody.journal_view import in_words
from archive.errors import Exit
from archive.model.entry import Change


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


def test_every_kind_of_statement_has_words() -> None:
    told = entry(
        rating(1, -1),
        Change(subjects=(frame_id(1),), layer="keyword", line="ice", value=False),
        own(2, exposure(0.5), note="brighter\x1b", line="ice"),
        kind="recipe",
    )
    words = in_words(told, {})
    assert "rated -1" in words and "taken off the keyword ice" in words
    assert "recipe, line ice (brighter\\x1b)" in words
    carried = in_words(entry(*shared(selection(1, 2), exposure(0.5)), kind="recipe"), {})
    assert carried.startswith("shared recipe, line main: selection ") and "and" not in carried
    many = entry(*(rating(number, 1) for number in range(5)))
    assert in_words(many, {}).endswith("; and 2 more")
    assert in_words(entry(rating(1, 1), kind="dream"), {}) == "something that only a newer release can tell"
    card = Change(subjects=("ingest:abc",), layer="card", value={})
    assert in_words(entry(card, kind="ingest"), {}) == "card of ingest abc"
    title = Change(subjects=(frame_id(1),), layer="text", line="title", value="Ice and arc")
    assert in_words(entry(title, kind="text"), {}).startswith("text title “Ice and arc”: ")
    off = Change(subjects=(frame_id(1),), layer="text", line="title", value=None)
    assert in_words(entry(off, kind="text"), {}).startswith("text title taken off: ")
