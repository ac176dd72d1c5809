"""Entries in words that need no knowledge of how they are written."""

from __future__ import annotations

from typing import Any

import pytest
from support.builders import entry, exposure, frame_id, own, rating, selection, shared

from archive.custody.entry_words import in_words
from archive.model.entry import KNOWN_KINDS, Change

FIRST, SECOND = frame_id(1), frame_id(2)
A, B = (f"frame {name[7:17]}" for name in (FIRST, SECOND))
CAMERA = "camera:3f2a9c1d7be04865"
VERSION = "sha256:" + 64 * "c"

WORDS: list[tuple[str, str, str, str, Any, str]] = [
    ("site", "site", "site:river-bend", "", {"name": "River bend"}, "place River bend described"),
    ("camera", "camera", CAMERA, "", {"name": "north"}, "camera north described"),
    ("volume", "volume", "volume:" + 32 * "b", "", {"name": "BLUE"}, "volume BLUE described"),
    ("ingest", "ingest", "roll:7c1f9a2e", "", {"files": [{}]}, "taken in: roll 7c1f9a2e, 1 file"),
    ("ingest", "card", "ingest:abc", "", {"card": "A07", "held": 1, "ignored": [], "failed": [{}, {}]},
     "the card A07 was read, 1 file held before, 2 failed"),
    ("clock", "clock", CAMERA, "..", {"reads": "2026-03-18T22:00:00", "true": "2026-03-18T21:00:00Z"},
     "the clock read 2026-03-18T22:00:00 at 2026-03-18T21:00:00Z: camera 3f2a9c1d7be04865"),
    ("clock", "clock", CAMERA, "..", None, "a clock correction taken back: camera 3f2a9c1d7be04865"),
    ("facts", "facts", FIRST, "", {"focal_mm": 20, "iso": 100},
     f"capture facts corrected (focal mm, iso): {A}"),
    ("facts", "facts", FIRST, "", {}, f"capture facts as read: {A}"),
    ("sequence", "sequence-number", FIRST, "", {"night": "2026-03-18", "number": 2},
     f"sequence 2 of 2026-03-18 begins: {A}"),
    ("sequence", "sequence-break", FIRST, "", True, f"a sequence begins here: {A}"),
    ("sequence", "sequence-break", FIRST, "", False, f"a sequence no longer has to begin here: {A}"),
    ("sequence", "sequence-join", FIRST, "", True, f"joined to the frames before: {A}"),
    ("sequence", "sequence-title", FIRST, "", "Arc", f"sequence titled “Arc”: {A}"),
    ("sequence", "sequence-title", FIRST, "", "", f"title taken off: {A}"),
    ("query", "query", "query:best", "", "rating>=4", "query best asks “rating>=4”"),
    ("query", "query", "query:best", "", "", "query best given up"),
    ("lens", "lens", CAMERA, "L 20", {"candidate": {"model": "Wide 20"}},
     "the lens Wide 20 chosen for L 20: camera 3f2a9c1d7be04865"),
    ("lens", "lens", CAMERA, "L 20", None, "choice of a lens taken back for L 20: camera 3f2a9c1d7be04865"),
    ("activity", "activity", "activity:x", "", {"from": "2026-03-01", "until": "2026-04-01"},
     "planetary index kept, 2026-03-01 to 2026-04-01"),
    ("pairing", "pairing", SECOND, "", {"frame": FIRST}, f"{B} belongs to {A}"),
    ("pairing", "pairing", SECOND, "", None, f"{B} stands by itself"),
    ("levelling", "levelling", "selection:x", "", {"stops": [0.1]}, "1 frame levelled"),
    ("levelling", "levelling", "selection:x", "", None, "levelling taken back"),
    ("rating", "rating", FIRST, "", -1, f"rated −1: {A}"),
    ("keywords", "keyword", FIRST, "ice", True, f"given the keyword ice: {A}"),
    ("keywords", "keyword", FIRST, "ice", False, f"taken off the keyword ice: {A}"),
    ("recipe", "recipe-note", VERSION, "", "warmer", "note “warmer” on version cccccccccc"),
    ("recipe", "recipe-note", VERSION, "", "", "note taken off version cccccccccc"),
    ("line", "line", FIRST, "", "dark", f"the line dark speaks: {A}"),
    ("line", "line-name", FIRST, "dark", "night", f"the line dark called night: {A}"),
    ("house-recipe", "house-recipe", "house-recipe:x", "", {"name": "Quiet"}, "house recipe Quiet kept"),
    ("house-recipe", "house-recipe", "house-recipe:x", "", None, "a house recipe taken off the list"),
    ("text", "text", FIRST, "title", "Ice and arc", f"title “Ice and arc”: {A}"),
    ("text", "text", FIRST, "title", None, f"title taken off: {A}"),
    ("job-started", "job", "job:" + 32 * "d", "", {"spec": {"name": "web"}, "outputs": 1},
     "export of 1 file begun, as web: job dddddddddd"),
    ("job-delivered", "delivered", "job:" + 32 * "d", "f00",
     {"outputs": [{"path": "a.jpg"}, {"path": "b.jpg"}]},
     "2 files exported, a.jpg first: job dddddddddd"),
    ("job-ended", "job-ended", "job:" + 32 * "d", "", {"failed": []},
     "export ended, all made: job dddddddddd"),
    ("job-ended", "job-ended", "job:" + 32 * "d", "", {"failed": ["a"]},
     "export ended, 1 file failed: job dddddddddd"),
    ("audit", "audit", "volume:x", "", {"coverage": {"n/r": 3, "n/s": 1}, "exceptions": [{}]},
     "4 files audited, 1 file is not as they should be: volume x"),
    ("audit", "audit", "volume:x", "", {"coverage": {"n/r": 3}, "exceptions": []},
     "3 files audited, all sound: volume x"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "layer", "subject", "line", "value", "words"), WORDS)
def test_each_statement_is_a_sentence(
    kind: str, layer: str, subject: str, line: str, value: Any, words: str
) -> None:
    told = entry(Change(subjects=(subject,), layer=layer, line=line, value=value), kind=kind)
    assert in_words(told, {}) == words


def test_every_kind_that_is_known_has_words_of_its_own() -> None:
    assert {kind for kind, *_ in WORDS} | {"recipe"} == KNOWN_KINDS


def test_recipes_are_told_with_their_line_and_note_and_shared_ones_by_how_many_frames() -> None:
    assert in_words(entry(own(2, exposure(0.5)), kind="recipe"), {}) == f"recipe: {B}"
    noted = own(2, exposure(0.5), note="brighter\x1b", line="ice", in_sequence=True)
    assert (
        in_words(entry(noted, kind="recipe"), {})
        == f"recipe on the line ice (brighter\\x1b), in sequences too: {B}"
    )
    carried = entry(*shared(selection(1, 2), exposure(0.5)), kind="recipe")
    assert in_words(carried, {}) == "recipe shared by 2 frames"
    assert in_words(entry(*shared(selection(1), exposure(0.5)), kind="recipe"), {}).endswith("by 1 frame")


def test_long_entries_are_cut_and_what_is_not_known_is_said_to_be_so() -> None:
    many = entry(*(rating(number, 1) for number in range(5)))
    assert in_words(many, {}).endswith("; and 2 more")
    everyone = Change(subjects=tuple(map(frame_id, range(5))), layer="rating", value=1)
    assert in_words(entry(everyone), {}).endswith(" and 2 more")
    assert in_words(entry(rating(1, 1), kind="dream"), {}) == "something that only a newer release can tell"
    odd = Change(subjects=(FIRST,), layer="moon-dust", line="x", value={})
    assert in_words(entry(odd), {}) == f"moon dust x: {A}"


@pytest.mark.parametrize("layer", sorted({row[1] for row in WORDS} | {"recipe", "recipe-shared"}))
@pytest.mark.parametrize("value", [None, 7, "x" * 500, [], {"frame": 3, "coverage": [], "outputs": [4]}])
def test_values_that_make_no_sense_are_told_all_the_same(layer: str, value: Any) -> None:
    told = in_words(entry(Change(subjects=("odd:x",), layer=layer, line="", value=value)), {})
    assert told and len(told) < 200
