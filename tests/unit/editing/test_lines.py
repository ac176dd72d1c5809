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


def stops(place: Studio, name: str = FRAME, *, in_sequence: bool = False) -> float | None:
    recipe = place.workspace.recipes.effective(place.workspace.frame(name), in_sequence=in_sequence)
    found = [step.values["stops"] for step in recipe.base if step.name == "exposure"]
    return float(found[0]) if found else None


def test_a_line_begins_with_what_speaks_and_goes_its_own_way(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.lines.start(FRAME, "for print")
    assert stops(place) == 0.5
    recipes.set(FRAME, ["exposure.stops=1"])
    assert stops(place) == 1
    recipes.lines.use(FRAME, "main")
    assert stops(place) == 0.5
    assert recipes.lines.use(FRAME, "main").entry is None
    recipes.lines.use(FRAME, "for print")
    assert stops(place) == 1


def test_exports_follow_the_current_line(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    main = place.export(FRAME, "still-web").files[0].path
    recipes.lines.start(FRAME, "print")
    recipes.set(FRAME, ["exposure.stops=1"])
    assert place.export(FRAME, "still-web").files[0].path != main
    recipes.lines.use(FRAME, "main")
    assert [(f.path, f.state) for f in place.export(FRAME, "still-web").files] == [(main, "fresh")]


def test_a_line_may_begin_with_an_old_version_and_stand_aside(place: Studio) -> None:
    recipes = place.workspace.recipes
    first = str(recipes.set(FRAME, ["exposure.stops=0.5"]).entry)
    recipes.set(FRAME, ["exposure.stops=1"])
    recipes.lines.start(FRAME, "dark", version=first, aside=True)
    assert stops(place) == 1
    states = {state.name: state for state in recipes.lines.of(FRAME)}
    assert (states["main"].current, states["dark"].current) == (True, False)
    assert (states["main"].versions, states["dark"].versions) == (2, 1)
    recipes.lines.use(FRAME, "dark")
    assert stops(place) == 0.5


def test_what_a_line_does_not_say_the_main_line_says(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(SEQUENCE, ["contrast.amount=0.2"], shared=True)
    recipes.lines.start(FRAME, "print")
    recipes.set(FRAME, ["exposure.stops=1"])
    effective = recipes.effective(place.workspace.frame(FRAME))
    assert [step.name for step in effective.base] == ["contrast", "exposure"]


def test_a_sequences_line_keeps_ramps_and_changes_no_picture_until_it_is_changed(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#6=-0.5"])
    before = [stops(place, f"{SEQUENCE}#{n}", in_sequence=True) for n in range(1, 7)]
    saved = recipes.lines.start(SEQUENCE, "cold", shared=True)
    assert (saved.frames, saved.shared) == (6, True)
    assert [stops(place, f"{SEQUENCE}#{n}", in_sequence=True) for n in range(1, 7)] == before
    recipes.ramps.drop(SEQUENCE, "exposure.stops", value="0.1")
    assert stops(place, FRAME, in_sequence=True) == 0.1
    recipes.lines.use(SEQUENCE, "main")
    assert [stops(place, f"{SEQUENCE}#{n}", in_sequence=True) for n in range(1, 7)] == before


def test_a_line_of_frames_that_share_nothing_begins_empty(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.lines.start(SEQUENCE, "cold", shared=True)
    recipes.set(SEQUENCE, ["exposure.stops=1"], shared=True)
    recipes.lines.use(SEQUENCE, "main")
    assert stops(place) is None


def test_renaming_moves_nothing_and_frees_the_name(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.lines.start(FRAME, "print")
    recipes.set(FRAME, ["exposure.stops=1"])
    recipes.lines.rename(FRAME, "print", "calendar 2027")
    assert stops(place) == 1
    names = {state.name: state.started_as for state in recipes.lines.of(FRAME)}
    assert names == {"main": "main", "calendar 2027": "print"}
    recipes.lines.start(FRAME, "print")
    names = {state.name: state.started_as for state in recipes.lines.of(FRAME)}
    assert names == {"main": "main", "calendar 2027": "print", "print": "print 2"}
    recipes.set(FRAME, ["exposure.stops=2"])
    recipes.lines.use(FRAME, "calendar 2027")
    assert stops(place) == 1
    # The other one was started as "print": what a line is called now comes first.
    used = recipes.lines.use(FRAME, "print")
    assert (stops(place), used.line, used.words) == (2, "print", ("the line print speaks now",))
    assert recipes.lines.key_of(FRAME, "print") == "print 2"
    recipes.lines.use(FRAME, "calendar 2027")
    assert recipes.lines.rename(FRAME, "calendar 2027", "calendar 2027").entry is None


def test_a_renamed_line_goes_by_its_new_name_everywhere(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.lines.start(FRAME, "print")
    recipes.lines.rename(FRAME, "print", "calendar")
    assert recipes.set(FRAME, ["exposure.stops=1"]).line == "calendar"
    _, found = recipes.history(FRAME, line="calendar")
    assert [(each.line, each.version.line) for each in found] == [("calendar", "print")] * 2
    assert recipes.history(FRAME, line="print") == recipes.history(FRAME, line="calendar")
    with pytest.raises(UsageError, match="no line gone here"):
        recipes.history(FRAME, line="gone")
    (why, *_) = recipes.why(place.workspace.frame(FRAME))
    assert " on the line calendar of " in why.origin
    assert " UTC" in why.origin
    (shown, *_) = place.workspace.story(FRAME).versions
    assert shown.line == "calendar"


def test_speaking_and_naming_save_no_version(place: Studio) -> None:
    lines = place.workspace.recipes.lines
    assert lines.start(FRAME, "print").version
    for saved in (lines.use(FRAME, "main"), lines.rename(FRAME, "print", "other")):
        assert (saved.version, saved.entry is None) == (False, False)
    for saved in (lines.use(FRAME, "main"), lines.rename(FRAME, "other", "other")):
        assert (saved.version, saved.entry) == (False, None)


def test_names_in_use_and_lines_that_are_not_there_are_refused(place: Studio) -> None:
    lines = place.workspace.recipes.lines
    for name in ("", "   ", "x" * 61, "a\x07b"):
        with pytest.raises(UsageError, match="1 to 60 characters"):
            lines.start(FRAME, name)
    lines.start(FRAME, "print")
    for attempt in (lambda: lines.start(FRAME, "print"), lambda: lines.start(FRAME, "main")):
        with pytest.raises(UsageError, match="here already"):
            attempt()
    with pytest.raises(UsageError, match="main line keeps its name"):
        lines.rename(FRAME, "main", "other")
    with pytest.raises(UsageError, match="here already"):
        lines.rename(FRAME, "print", "main")
    with pytest.raises(UsageError, match="no line nowhere") as caught:
        lines.use(FRAME, "nowhere")
    assert "main, print" in caught.value.hint


def test_lines_survive_a_rebuild_of_the_catalogue(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.lines.start(FRAME, "print")
    recipes.set(FRAME, ["exposure.stops=1"])
    place.workspace.books.rebuild()
    assert stops(place) == 1
    assert [state.name for state in recipes.lines.of(FRAME) if state.current] == ["print"]
