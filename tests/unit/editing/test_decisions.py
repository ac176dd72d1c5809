from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.decisions import DECIDED, Decisions, change_in_words
from archive.errors import UsageError
from archive.model.entry import KNOWN_KINDS

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def test_a_decision_is_told_in_words_without_names(place: Studio) -> None:
    workspace = place.workspace
    workspace.statements.rate([SEQUENCE], 4)
    workspace.statements.keyword([FRAME], "ice", on=True)
    workspace.statements.keyword([FRAME], "ice", on=False)
    workspace.texts.write([FRAME], {"title": "Ice and arc"})
    workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    first = str(workspace.recipes.carry(FRAME, SEQUENCE).entry)
    workspace.recipes.note(FRAME, first, "good")
    workspace.recipes.lines.start(FRAME, "print")
    frame = workspace.frame(FRAME).id[7:17]
    entries = [line.entry for line in workspace.custody.journal(newest=8).lines]
    told = [words for each in entries for change in each.changes if (words := change_in_words(change, each))]
    assert told == [
        f"recipe on the line print for frame {frame}",
        f"the line print speaks for frame {frame}",
        f"note on version {first[7:17]}: good",
        "recipe shared by 6 frames",
        f"recipe for frame {frame}",
        f"title “Ice and arc” for frame {frame}",
        f"keyword ice taken off for frame {frame}",
        f"keyword ice given for frame {frame}",
        "rating 4 for 6 frames",
    ]


def test_what_the_program_records_is_no_decision() -> None:
    assert {"rating", "recipe", "text", "line"} <= set(DECIDED) & KNOWN_KINDS
    assert not set(DECIDED) & {"ingest", "audit", "job-started"}


def test_an_entry_is_found_by_the_start_of_its_id(place: Studio) -> None:
    entry = place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"]).entry
    decisions = Decisions(place.workspace.recipes.bench)
    assert decisions.entry(str(entry)[7:15]).id == entry
    assert decisions.entry(str(entry)).id == entry
    for start in ("", "abc", "ffffffffff", "nonsense!"):
        with pytest.raises(UsageError, match="is no entry of this journal"):
            decisions.entry(start)
