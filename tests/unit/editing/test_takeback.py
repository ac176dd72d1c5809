from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.editing.decisions import NUMBER
from archive.errors import ArchiveError, UsageError
from archive.model.recipe import EffectiveRecipe

FRAME = f"{SEQUENCE}#2"


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Studio]:
    made = studio(tmp_path)
    yield made
    made.workspace.close()


def newest(place: Studio, *kinds: str) -> str:
    lines = place.workspace.custody.journal(newest=100).lines
    entries = [line.entry for line in lines if not kinds or line.entry.kind in kinds]
    # Numbers of sequences are given by the program.
    return next(each.id for each in entries if any(c.layer != NUMBER for c in each.changes))


def ratings(place: Studio) -> list[int]:
    return [line.rating for line in place.workspace.frames(SEQUENCE)]


def effectives(place: Studio) -> list[EffectiveRecipe]:
    recipes = place.workspace.recipes
    return [recipes.effective(line.frame) for line in place.workspace.frames(SEQUENCE)]


def runs(place: Studio) -> list[int]:
    """How many frames each of the camera's sequences has, in order of time."""
    return [line.frames for line in place.workspace.sequences("2026-03-18")]


def test_a_break_and_a_join_are_taken_back_to_what_stood_before_each(tmp_path: Path) -> None:
    place = studio(tmp_path, 10)
    sequencing, back = place.workspace.sequencing, place.workspace.taking_back.take_back
    sequencing.break_before(f"{SEQUENCE}#6")
    broken = newest(place, "sequence")
    assert runs(place) == [5, 5]
    second = place.workspace.sequences("2026-03-18")[1].address
    sequencing.join(second)
    joined = newest(place, "sequence")
    assert runs(place) == [10]
    with pytest.raises(ArchiveError, match="was changed since"):
        back(broken)
    assert back(joined).entries
    assert runs(place) == [5, 5]
    assert [line.address for line in place.workspace.sequences("2026-03-18")] == [SEQUENCE, second]
    assert back(broken, even_so=True).entries
    assert runs(place) == [10]
    assert place.workspace.sequence(SEQUENCE).frames == 10
    place.workspace.books.rebuild()
    assert runs(place) == [10]
    place.workspace.close()


def test_ratings_go_back_to_what_each_frame_had(place: Studio) -> None:
    statements = place.workspace.statements
    statements.rate([f"{SEQUENCE}#1..3"], 2)
    statements.rate([SEQUENCE], 5)
    five = newest(place, "rating")
    taken = place.workspace.taking_back.take_back(five)
    assert ratings(place) == [2, 2, 2, 0, 0, 0]
    assert (len(taken.entries), taken.words) == (1, ("rating 2 for 3 frames", "rating 0 for 3 frames"))
    assert place.workspace.taking_back.take_back(taken.entries[0]).entries
    assert ratings(place) == [5] * 6
    place.workspace.books.rebuild()
    assert ratings(place) == [5] * 6


def test_what_was_changed_since_is_refused_unless_it_is_told_to_be_overruled(place: Studio) -> None:
    statements, back = place.workspace.statements, place.workspace.taking_back
    statements.rate([SEQUENCE], 5)
    five = newest(place, "rating")
    statements.rate([FRAME], 1)
    later = newest(place, "rating")
    with pytest.raises(ArchiveError, match="1 of what the entry") as caught:
        back.take_back(five)
    assert later[7:17] in caught.value.message
    assert ratings(place) == [5, 1, 5, 5, 5, 5]
    assert back.take_back(five, even_so=True).overruled == 1
    assert ratings(place) == [0] * 6


def test_keywords_texts_clocks_breaks_and_titles_are_taken_back(place: Studio) -> None:
    workspace = place.workspace
    back = workspace.taking_back.take_back
    workspace.statements.keyword([FRAME], "ice", on=True)
    back(newest(place, "keywords"))
    assert workspace.frames(FRAME)[0].keywords == ()
    workspace.texts.write([FRAME], {"title": "one"})
    workspace.texts.write([FRAME], {"title": "two", "creator": "Ingrid"})
    back(newest(place, "text"))
    assert workspace.texts.of(workspace.frame(FRAME)) == {"title": "one"}
    moments = [line.frame.taken for line in workspace.frames(SEQUENCE)]
    camera = workspace.statements.camera_named("one")
    workspace.statements.set_clock(camera, reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12")
    assert [line.frame.taken for line in workspace.frames(SEQUENCE)] != moments
    back(newest(place, "clock"))
    assert [line.frame.taken for line in workspace.frames(SEQUENCE)] == moments
    workspace.sequencing.title(SEQUENCE, "Breakup")
    back(newest(place, "sequence"))
    assert workspace.sequence(SEQUENCE).title == ""


def test_an_own_version_gives_way_to_the_one_before_and_the_first_to_nothing(place: Studio) -> None:
    recipes, back = place.workspace.recipes, place.workspace.taking_back.take_back
    first = str(recipes.set(FRAME, ["exposure.stops=0.5"], in_sequence=True).entry)
    second = str(recipes.set(FRAME, ["exposure.stops=1"], in_sequence=False).entry)
    back(second)
    assert effectives(place)[1].base[0].values["stops"] == 0.5
    assert recipes.standing(place.workspace.frame(FRAME)).own[0].in_sequence
    with pytest.raises(ArchiveError, match="was changed since"):
        back(first)
    back(first, even_so=True)
    assert effectives(place)[1].base == ()
    assert not place.workspace.frames(FRAME)[0].contested


def test_a_carry_is_taken_back_to_what_each_part_shared_ramps_and_all(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.ramps.add(f"{SEQUENCE}#1..4", "exposure.stops", ["#1=0.5", "#4=-0.5"])
    before = effectives(place)
    recipes.set(FRAME, ["contrast.amount=0.2", "exposure.stops=1"])
    own = recipes.standing(place.workspace.frame(FRAME)).own[0].entry
    carried = str(recipes.carry(FRAME, f"{SEQUENCE}#3..6").entry)
    taken = place.workspace.taking_back.take_back(carried)
    assert len(taken.entries) == 1
    place.workspace.taking_back.take_back(own)
    assert [each.base for each in effectives(place)] == [each.base for each in before]
    assert not any(line.contested for line in place.workspace.frames(SEQUENCE))


def test_a_line_that_was_started_is_left_again(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    started = str(recipes.lines.start(FRAME, "print").entry)
    place.workspace.taking_back.take_back(started)
    assert [state.name for state in recipes.lines.of(FRAME) if state.current] == ["main"]
    recipes.lines.use(FRAME, "print")
    renamed = str(recipes.lines.rename(FRAME, "print", "calendar").entry)
    place.workspace.taking_back.take_back(renamed)
    assert {state.name for state in recipes.lines.of(FRAME)} == {"main", "print"}


def test_a_house_recipe_that_was_replaced_comes_back(place: Studio) -> None:
    recipes = place.workspace.recipes
    recipes.set(FRAME, ["exposure.stops=0.5"])
    recipes.house.save(FRAME, "Arc")
    recipes.set(FRAME, ["exposure.stops=1"])
    replaced = str(recipes.house.save(FRAME, "Arc"))
    place.workspace.taking_back.take_back(replaced)
    assert recipes.house.named("Arc").base[0].values["stops"] == 0.5
    first = str(recipes.house.save(FRAME, "Other"))
    place.workspace.taking_back.take_back(first)
    assert [line.recipe.name for line in recipes.house.all()] == ["Arc"]


def test_records_numbers_and_first_words_about_a_place_are_not_taken_back(place: Studio) -> None:
    back, books = place.workspace.taking_back.take_back, place.workspace.books
    entries = {name.split("-")[2]: name[-21:-5] for name in books.log.names()}
    for kind, words in (("ingest", "is no decision"), ("sequence", "is no decision")):
        with pytest.raises(UsageError, match=words):
            back(entries[kind])
    with pytest.raises(ArchiveError, match="nothing stood before it"):
        back(entries["site"])
    place.workspace.statements.add_site("River bend", 69.9, 20.1, 40.0, "Europe/Oslo")
    back(newest(place, "site"))
    assert place.workspace.statements.site_named("River bend").latitude != 69.9


def test_taking_back_what_stands_already_writes_nothing(place: Studio) -> None:
    statements = place.workspace.statements
    statements.rate([FRAME], 5)
    five = newest(place, "rating")
    statements.rate([FRAME], 0)
    before = place.entries("rating")
    assert place.workspace.taking_back.take_back(five, even_so=True).entries == ()
    assert place.entries("rating") == before
