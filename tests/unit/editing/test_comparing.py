from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from support.exports import SEQUENCE, Studio, studio
from support.rivals import rival

from archive.errors import UsageError
from archive.model.identity import short

FRAME = f"{SEQUENCE}#2"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("comparing"))
    yield made
    made.workspace.close()


def test_states_are_compared_by_version_line_house_recipe_or_as_they_are(
    place: Studio, tmp_path: Path
) -> None:
    recipes = place.workspace.recipes
    first = str(recipes.set(FRAME, ["exposure.stops=0.5"]).entry)
    recipes.house.save(FRAME, "Half a stop")
    recipes.set(FRAME, ["exposure.stops=1", "chroma.amount=0.2"])
    recipes.lines.start(FRAME, "dark", aside=True, version=first)
    same = recipes.compare(FRAME, first, "Half a stop", size=100)
    assert (same.mean, same.largest, same.changed, same.any_changed) == (0, 0, 0, 0)
    assert recipes.compare(FRAME, "dark", first[7:15], size=100).largest == 0
    assert recipes.compare(FRAME, "now", size=100).largest == 0
    found = recipes.compare(FRAME, "plain", "now", size=100, to=tmp_path / "sheet.png")
    assert found.mean > 1
    assert found.largest >= found.mean
    assert 0 < found.changed <= found.any_changed <= 1
    assert [(row.part, row.first) for row in found.rows] == [("chroma", ""), ("exposure", "")]
    assert found.rows[1].second == "exposure +1.00 stops"
    with Image.open(tmp_path / "sheet.png") as sheet:
        assert sheet.width > 3 * found.width or sheet.height > 3 * found.height
    with pytest.raises(UsageError, match="is there already"):
        recipes.compare(FRAME, "plain", to=tmp_path / "sheet.png", size=100)
    assert recipes.compare(FRAME, first, to=tmp_path / "sheet.jpg", size=100).written is not None
    assert (tmp_path / "sheet.jpg").read_bytes().startswith(b"\xff\xd8")


def test_states_sizes_and_files_that_are_none_are_refused(place: Studio, tmp_path: Path) -> None:
    compare = place.workspace.recipes.compare
    for words, attempt in (
        ("is no version, line or house recipe", lambda: compare(FRAME, "nowhere")),
        ("99 px is outside", lambda: compare(FRAME, "plain", size=99)),
        ("is no picture file", lambda: compare(FRAME, "plain", to=tmp_path / "sheet.pdf")),
    ):
        with pytest.raises(UsageError, match=words):
            attempt()
    assert list(tmp_path.iterdir()) == []


def test_a_name_freed_by_renaming_compares_the_line_that_has_it_now(tmp_path: Path) -> None:
    made = studio(tmp_path)
    recipes = made.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.lines.start(FRAME, "print")
    recipes.lines.rename(FRAME, "print", "calendar")
    recipes.lines.start(FRAME, "print")
    recipes.set(FRAME, ["exposure.stops=1"])
    found = recipes.compare(FRAME, "calendar", "print", size=100)
    assert (found.first, found.second) == ("line calendar", "line print")
    assert [(row.first, row.second) for row in found.rows] == [
        ("exposure +0.50 stops", "exposure +1.00 stops")
    ]
    rival(made, FRAME, ("exposure", {"stops": 2.0}), line="print 2")
    assert recipes.compare(FRAME, "plain", size=100).contested
    assert not recipes.compare(FRAME, "plain", "calendar", size=100).contested
    made.workspace.close()


def test_an_old_own_version_lies_over_what_was_shared_when_it_was_saved(place: Studio) -> None:
    recipes, frame = place.workspace.recipes, f"{SEQUENCE}#5"
    alone = str(recipes.set(frame, ["exposure.stops=0.2"]).entry)
    first = str(recipes.set(SEQUENCE, ["contrast.amount=0.2", "chroma.amount=0.1"], shared=True).entry)
    over = str(recipes.set(frame, ["exposure.stops=0.4"]).entry)
    second = str(recipes.set(SEQUENCE, ["contrast.amount=0.6"], shared=True).entry)
    last = str(recipes.set(frame, ["exposure.stops=0.8"]).entry)
    found = recipes.compare(frame, over, last, size=100)
    assert found.first == f"own {short(over)} over shared {short(first)}"
    assert found.second == f"own {short(last)} over shared {short(second)}"
    assert [(row.part, row.first, row.second) for row in found.rows if row.first != row.second] == [
        (
            "contrast",
            "contrast.amount +0.20; contrast.pivot −3.00 stops",
            "contrast.amount +0.60; contrast.pivot −3.00 stops",
        ),
        ("exposure", "exposure +0.40 stops", "exposure +0.80 stops"),
    ]
    assert recipes.compare(frame, last, "now", size=100).largest == 0
    before = recipes.compare(frame, alone, "plain", size=100)
    assert before.first == f"own {short(alone)}" and [row.part for row in before.rows] == ["exposure"]
    assert recipes.changes(frame, over, last) == ("exposure +0.40 → +0.80 stops",)
