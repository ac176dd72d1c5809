"""Questions that are asked, and kept under a name."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.exports import studio

from archive.editing.queries import Queries
from archive.errors import UsageError


@pytest.fixture
def asked(tmp_path: Path) -> Queries:
    return studio(tmp_path).workspace.queries


def test_a_query_is_answered_with_the_first_frames_and_their_count(asked: Queries) -> None:
    everything = asked.ask("")
    assert everything.count == len(everything.frames) > 2
    assert len(asked.ask("", limit=2).frames) == 2
    assert asked.ask("rating>=4").count == 0


def test_a_kept_query_is_found_changed_and_given_up(asked: Queries) -> None:
    asked.keep("dark", "moon<0")
    assert asked.named("dark") == "moon<0"
    asked.keep("dark", "moon<-6")
    asked.keep("best", "rating:5")
    assert asked.kept() == {"best": "rating:5", "dark": "moon<-6"}
    asked.keep("dark", "")
    assert asked.kept() == {"best": "rating:5"}
    with pytest.raises(UsageError, match="No query is kept as dark") as caught:
        asked.keep("dark", "")
    assert "best" in caught.value.hint


def test_keeping_the_same_again_writes_nothing(asked: Queries) -> None:
    asked.keep("dark", "moon<0")
    before = asked._books.log.names()
    asked.keep("dark", "moon<0")
    assert asked._books.log.names() == before


def test_what_cannot_be_read_or_named_is_not_kept(asked: Queries) -> None:
    with pytest.raises(UsageError, match="at column 1"):
        asked.keep("x", "mon<0")
    for name in ("", "  ", "a" * 61, "line\nbreak"):
        with pytest.raises(UsageError, match="cannot be kept"):
            asked.keep(name, "moon<0")
    with pytest.raises(UsageError, match="cannot be listed"):
        asked.ask("", limit=0)
    assert asked.kept() == {}
