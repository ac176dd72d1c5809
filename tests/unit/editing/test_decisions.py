from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.decisions import DECIDED
from archive.errors import UsageError
from archive.model.entry import KNOWN_KINDS

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def told(place: Studio, **options: object) -> list[str]:
    return [words for each in place.workspace.decisions.newest(**options) for words in each.words]  # type: ignore[arg-type]


def test_decisions_are_told_newest_first_in_words(place: Studio) -> None:
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
    assert told(place, most=8) == [
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


def test_only_so_many_and_only_of_some_kinds(place: Studio) -> None:
    for rating in (1, 2, 3):
        place.workspace.statements.rate([FRAME], rating)
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    assert len(told(place, most=2)) == 2
    ratings = told(place, kinds=["rating"])
    assert [words.partition(" for")[0] for words in ratings] == ["rating 3", "rating 2", "rating 1"]
    with pytest.raises(UsageError, match="audit is no kind of decision"):
        told(place, kinds=["audit"])


def test_what_the_program_records_is_no_decision(place: Studio) -> None:
    kinds = {each.kind for each in place.workspace.decisions.newest(most=100)}
    assert not kinds & {"ingest", "sequence", "audit", "job-started"}
    assert {"rating", "recipe", "text", "line"} <= set(DECIDED) & KNOWN_KINDS


def test_an_entry_is_found_by_the_start_of_its_id(place: Studio) -> None:
    entry = place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"]).entry
    assert place.workspace.decisions.entry(str(entry)[7:15]).id == entry
    assert place.workspace.decisions.entry(str(entry)).id == entry
    for start in ("", "abc", "ffffffffff", "nonsense!"):
        with pytest.raises(UsageError, match="is no entry of this journal"):
            place.workspace.decisions.entry(start)
