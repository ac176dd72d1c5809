from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_texts_are_written_once_and_taken_off_again(place: Studio) -> None:
    texts, frame = place.workspace.texts, place.workspace.frame(FRAME)
    texts.write([SEQUENCE], {"creator": "Ingrid", "rights": "© Ingrid"})
    texts.write([FRAME], {"title": "  Ice and arc ", "caption": "The river,\nfrozen."})
    assert place.entries("text") == 2
    assert texts.of(frame) == {
        "title": "Ice and arc",
        "caption": "The river,\nfrozen.",
        "creator": "Ingrid",
        "rights": "© Ingrid",
    }
    assert place.workspace.story(FRAME).texts[0] == ("title", "Ice and arc")
    assert texts.write([FRAME], {"title": "Ice and arc"}) == []
    assert place.entries("text") == 2
    assert len(texts.write([SEQUENCE], {"creator": "Ingrid Ås"})) == 6
    assert [each.id for each in texts.write([SEQUENCE], {"title": "Ice and arc"})].count(frame.id) == 0
    texts.write([SEQUENCE], {"creator": "Ingrid"})
    texts.write([FRAME], {"title": ""})
    assert "title" not in texts.of(frame)
    place.workspace.books.rebuild()
    assert "title" not in texts.of(frame)
    assert texts.of(frame)["creator"] == "Ingrid"


def test_other_names_long_texts_and_no_text_are_refused(place: Studio) -> None:
    texts = place.workspace.texts
    for given, words in (
        ({"motto": "x"}, "motto is no text"),
        ({"title": "x" * 4001}, "4000"),
        ({}, "no text"),
    ):
        with pytest.raises(UsageError, match=words):
            texts.write([FRAME], given)
    assert place.entries("text") == 0
