from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.bench import selection_from
from archive.errors import UsageError

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def stops(place: Studio, name: str, *, in_sequence: bool = False) -> float | None:
    recipe = place.workspace.recipes.effective(place.workspace.frame(name), in_sequence=in_sequence)
    found = [step.values["stops"] for step in recipe.base if step.name == "exposure"]
    return float(found[0]) if found else None


def test_setting_saves_one_entry_and_never_touches_the_master(place: Studio) -> None:
    before = place.master("NOCT0002.JPG").stat()
    saved = place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    assert saved.entry is not None
    assert place.entries("recipe") == 1
    assert stops(place, FRAME) == 0.5
    assert any("0.5" in words for words in saved.words)
    after = place.master("NOCT0002.JPG").stat()
    assert (before.st_mtime_ns, before.st_ctime_ns) == (after.st_mtime_ns, after.st_ctime_ns)


def test_setting_what_is_said_already_saves_nothing(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    assert place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"]).entry is None
    assert place.entries("recipe") == 1


def test_all_faults_of_one_command_are_told_together_with_ranges(place: Studio) -> None:
    with pytest.raises(UsageError) as caught:
        place.workspace.recipes.set(
            FRAME, ["exposure.stops=99", "nonsense.x=1", "loose", "contrast.amount=no"]
        )
    for part in ("exposure.stops", "99", "EV", "nonsense", "'loose' is no setting", "contrast.amount"):
        assert part in caught.value.message, part
    assert place.entries("recipe") == 0


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999", ""])
def test_values_that_are_no_numbers_are_refused(place: Studio, value: str) -> None:
    with pytest.raises(UsageError, match=r"exposure\.stops"):
        place.workspace.recipes.set(FRAME, [f"exposure.stops={value}"])
    assert place.entries("recipe") == 0


def test_dropping_what_is_not_there_is_refused_and_what_is_there_goes(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5", "contrast.amount=0.2"])
    with pytest.raises(UsageError, match="saturate is not in this frame's own recipe"):
        place.workspace.recipes.set(FRAME, [], drop=["saturate"])
    place.workspace.recipes.set(FRAME, [], drop=["exposure"])
    assert stops(place, FRAME) is None


def test_history_is_newest_first_with_words_and_marks_the_current(place: Studio) -> None:
    for value in ("0.5", "0.75", "1.0"):
        place.workspace.recipes.set(FRAME, [f"exposure.stops={value}"], note=f"try {value}")
    _, lines = place.workspace.recipes.history(FRAME)
    assert [line.version.note for line in lines] == ["try 1.0", "try 0.75", "try 0.5"]
    assert [line.current for line in lines] == [True, False, False]
    assert "0.75" in " ".join(lines[0].words)


def test_changes_and_reinstating_go_by_the_start_of_an_id(place: Studio) -> None:
    first = place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"]).entry
    place.workspace.recipes.set(FRAME, ["exposure.stops=2"])
    assert first is not None
    start = first.removeprefix("sha256:")[:8]
    words = " ".join(place.workspace.recipes.changes(FRAME, start))
    assert "0.5" in words
    assert "2" in words
    again = place.workspace.recipes.reinstate(FRAME, start)
    assert again.entry not in (None, first)
    assert stops(place, FRAME) == 0.5
    assert place.workspace.recipes.reinstate(FRAME, start).entry is None
    with pytest.raises(UsageError, match="is no version of this frame"):
        place.workspace.recipes.changes(FRAME, "ffffffff")
    with pytest.raises(UsageError, match="is no version of this frame"):
        place.workspace.recipes.reinstate(FRAME, "")


def test_carrying_shares_one_version_in_one_entry(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5", "contrast.amount=0.2"])
    carried = place.workspace.recipes.carry(FRAME, SEQUENCE)
    assert (carried.frames, carried.operators) == (6, ("contrast", "exposure"))
    assert place.entries("recipe") == 2
    assert [stops(place, f"{SEQUENCE}#{n}", in_sequence=True) for n in range(1, 7)] == [0.5] * 6
    assert place.workspace.recipes.carry(FRAME, SEQUENCE).entry is None


def test_only_and_except_narrow_what_is_carried(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5", "contrast.amount=0.2"])
    recipes = place.workspace.recipes
    assert recipes.carry(FRAME, SEQUENCE, only=["exposure"]).operators == ("exposure",)
    assert recipes.carry(FRAME, SEQUENCE, leave=["exposure"]).operators == ("contrast",)
    effective = recipes.effective(place.workspace.frame(f"{SEQUENCE}#5"))
    assert [step.name for step in effective.base] == ["contrast", "exposure"]
    with pytest.raises(UsageError, match="crop is not in the recipe"):
        recipes.carry(FRAME, SEQUENCE, only=["crop"])


def test_a_dry_run_changes_nothing_and_tells_what_would_be_hidden(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    place.workspace.recipes.set(f"{SEQUENCE}#4", ["exposure.stops=-1"], in_sequence=True)
    carried = place.workspace.recipes.carry(FRAME, SEQUENCE, dry_run=True)
    assert carried.entry is None
    assert carried.frames == 6
    assert carried.masked == (("NOCT0004.JPG", ("exposure",)),)
    assert place.entries("recipe") == 2
    assert stops(place, f"{SEQUENCE}#5") is None


def test_a_frame_without_a_recipe_has_nothing_to_carry(place: Studio) -> None:
    with pytest.raises(UsageError, match="has no recipe to carry"):
        place.workspace.recipes.carry(FRAME, SEQUENCE)


def test_a_setting_starts_from_the_shared_value(place: Studio) -> None:
    place.workspace.recipes.set(FRAME, ["exposure.stops=0.5"])
    place.workspace.recipes.carry(FRAME, SEQUENCE)
    place.workspace.recipes.set(f"{SEQUENCE}#3", ["contrast.amount=0.1"])
    assert stops(place, f"{SEQUENCE}#3") == 0.5


def test_a_selection_has_its_frames_with_their_times(place: Studio) -> None:
    frames = [line.frame for line in place.workspace.frames(SEQUENCE)]
    assert selection_from(frames).milliseconds == tuple(10_000 * n for n in range(6))
