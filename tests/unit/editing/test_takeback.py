from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio
from support.rivals import rival

from archive.editing.decisions import NUMBER
from archive.editing.recipes import Recipes
from archive.errors import ArchiveError, UsageError
from archive.model.entry import LENS, PAIRING, Change, Draft
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


def stops(place: Studio, name: str = FRAME) -> float | None:
    found = place.workspace.recipes.effective(place.workspace.frame(name)).base
    return float(found[0].values["stops"]) if found else None


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


@pytest.mark.parametrize("mine", [0, 1])
def test_taking_back_one_rival_leaves_what_the_other_said(place: Studio, mine: int) -> None:
    rivals = [rival(place, FRAME, ("exposure", {"stops": value})) for value in (0.5, -0.5)]
    taken = place.workspace.taking_back.take_back(rivals[mine])
    assert (stops(place), taken.overruled) == ((-0.5, 0.5)[mine], 0)
    assert not place.workspace.frames(FRAME)[0].contested
    (words,) = taken.words
    assert words.startswith("NOCT0002.JPG: ")
    assert f"version {rivals[1 - mine][7:17]} of " in words
    assert "by Ingrid, which contested it, stands" in words
    assert ("exposure −0.50 → +0.50 stops" in words) == (mine == 1)
    place.workspace.books.rebuild()
    assert stops(place) == (-0.5, 0.5)[mine]


def test_of_three_rivals_two_go_on_contesting_and_none_is_lost(place: Studio) -> None:
    mine = [rival(place, FRAME, ("exposure", {"stops": value})) for value in (0.1, 0.2, 0.3)][2]
    place.workspace.taking_back.take_back(mine)
    standing = place.workspace.recipes.standing(place.workspace.frame(FRAME))
    assert sorted(version.recipe.base[0].values["stops"] for version in standing.own) == [0.1, 0.2]
    assert stops(place) == 0.2


@pytest.mark.parametrize("mine", [0, 1])
def test_taking_back_one_of_two_shared_rivals_leaves_the_other(place: Studio, mine: int) -> None:
    rivals = [
        rival(place, f"{SEQUENCE}#{part}", ("exposure", {"stops": value}), shared=True)
        for part, value in (("1..4", 0.5), ("3..6", -0.5))
    ]
    place.workspace.taking_back.take_back(rivals[mine])
    found = [stops(place, f"{SEQUENCE}#{n}") for n in range(1, 7)]
    assert found == ([None, None, -0.5, -0.5, -0.5, -0.5], [0.5, 0.5, 0.5, 0.5, None, None])[mine]
    assert not any(line.contested for line in place.workspace.frames(SEQUENCE))


def test_a_ramp_that_contested_what_is_taken_back_goes_on(place: Studio) -> None:
    place.workspace.recipes.ramps.add(SEQUENCE, "exposure.stops", ["#1=0.5", "#5=-0.5"])
    before = effectives(place)
    flat = rival(place, f"{SEQUENCE}#2..5", ("exposure", {"stops": 2.0}), shared=True)
    assert effectives(place) != before
    assert place.workspace.taking_back.take_back(flat).entries
    assert effectives(place) == before
    assert not any(line.contested for line in place.workspace.frames(SEQUENCE))


def test_what_settled_a_contest_is_taken_back_and_the_side_that_does_not_return_is_told(
    place: Studio,
) -> None:
    first = rival(place, FRAME, ("exposure", {"stops": 0.5}))
    rival(place, FRAME, ("exposure", {"stops": -0.5}))
    (settled,) = place.workspace.recipes.contests.settle(FRAME, take=first)
    taken = place.workspace.taking_back.take_back(str(settled.entry))
    assert stops(place) == -0.5
    assert f"and not version {first[7:17]}" in taken.words[0]


def test_what_is_set_aside_never_comes_back_and_is_not_taken_back(place: Studio) -> None:
    workspace = place.workspace
    workspace.statements.rate([FRAME], 2)
    frame = workspace.frame(FRAME)
    # Written by a program with a fault: there is no such rating, and the entry counts for nothing.
    change = Change(subjects=(frame.id,), layer="rating", value=99)
    impossible = workspace.books.log.append(Draft(kind="rating", changes=(change,)))
    workspace.books.sync()
    assert ratings(place)[1] == 2
    workspace.statements.rate([FRAME], 4)
    workspace.taking_back.take_back(newest(place, "rating"))
    assert ratings(place)[1] == 2
    with pytest.raises(UsageError, match="is set aside here"):
        workspace.taking_back.take_back(impossible.id)


def test_an_emptied_own_version_leaves_the_foundation_to_what_is_shared(place: Studio) -> None:
    recipes = place.workspace.recipes
    own = str(recipes.set(FRAME, ["exposure.stops=0.5"]).entry)
    place.workspace.taking_back.take_back(own)
    frame = place.workspace.frame(FRAME)
    (emptied,) = recipes.standing(frame).own
    assert emptied.recipe.says_nothing
    recipes.set(SEQUENCE, ["contrast.amount=0.2"], shared=True)
    later = replace(recipes.bench.foundation, generation=99)
    assert Recipes(place.workspace.books, later).effective(frame).foundation == recipes.bench.foundation
    assert Recipes(place.workspace.books, later).bench.own_recipe(recipes.standing(frame)).foundation == later


def test_lenses_queries_and_pairings_are_taken_back(place: Studio) -> None:
    workspace = place.workspace
    back = workspace.taking_back.take_back
    workspace.queries.keep("best", "rating>=4")
    workspace.queries.keep("best", "rating>=5")
    back(newest(place, "query"))
    assert workspace.queries.kept() == {"best": "rating>=4"}
    first, second = (workspace.frame(f"{SEQUENCE}#{n}") for n in (1, 2))
    lens = {
        "candidate": {
            "camera_make": "Invented", "camera_model": "One", "make": "Invented", "model": "Wide 20",
            "shortest_mm": 20.0, "longest_mm": 20.0, "loose": False, "holds": [],
        },
        "source": "a database",
    }  # fmt: skip
    change = Change(subjects=(first.camera,), layer=LENS, line="Wide 20", value=lens)
    workspace.books.state(Draft(kind=LENS, changes=(change,)))
    assert workspace.books.catalogue.stated(first.camera, LENS, "Wide 20") == lens
    back(newest(place, LENS))
    assert workspace.books.catalogue.stated(first.camera, LENS, "Wide 20") is None
    pairing = Change(subjects=(second.id,), layer=PAIRING, value={"frame": first.id})
    workspace.books.state(Draft(kind=PAIRING, changes=(pairing,)))
    assert len(workspace.frames("2026-03-18")) == 5
    back(newest(place, PAIRING))
    assert len(workspace.frames("2026-03-18")) == 6
    place.workspace.books.rebuild()
    assert len(workspace.frames("2026-03-18")) == 6


def test_what_was_said_of_a_companion_is_what_stood_before(place: Studio) -> None:
    workspace = place.workspace
    first, second = (workspace.frame(f"{SEQUENCE}#{n}") for n in (1, 2))
    workspace.statements.rate([f"{SEQUENCE}#2"], 3)
    workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=0.5"])
    pairing = Change(subjects=(second.id,), layer=PAIRING, value={"frame": first.id})
    workspace.books.state(Draft(kind=PAIRING, changes=(pairing,)))
    name = first.id.removeprefix("xxh128:")
    assert (workspace.frames(name)[0].rating, stops(place, name)) == (3, 0.5)
    workspace.statements.rate([name], 5)
    taken = workspace.taking_back.take_back(newest(place, "rating"))
    assert (workspace.frames(name)[0].rating, taken.overruled) == (3, 0)
    saved = str(workspace.recipes.set(name, ["exposure.stops=1"]).entry)
    workspace.taking_back.take_back(saved)
    assert stops(place, name) == 0.5
