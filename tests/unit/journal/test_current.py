"""What entries add up to: registers, versions, what is current and what is contested."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from support.builders import (
    entry,
    entry_id,
    exposure,
    frame_id,
    own,
    rating,
    recipe,
    selection,
    shared,
    step,
)

from archive.errors import DamagedFileError
from archive.journal.current import Fold, heads, selections, statements, versions
from archive.model.capture import Selection
from archive.model.entry import OWN, SHARED, Change, Entry

CHOSEN = selection(1, 2, 3)


def test_the_greatest_counter_wins_a_register_in_any_order() -> None:
    entries = [entry(rating(1, value), counter=counter) for value, counter in ((5, 1), (2, 3), (4, 2))]
    for order in permutations(entries):
        assert Fold(order).value(frame_id(1), "rating") == 2


def test_between_equal_counters_the_greater_id_wins_whatever_clock_and_writer_say() -> None:
    one = entry(rating(1, 1), counter=7, writer="a", time="2030-01-01T00:00:00Z")
    two = entry(rating(1, 2), counter=7, writer="b", time="2020-01-01T00:00:00Z")
    wanted = 1 if one.id > two.id else 2
    assert Fold([one, two]).value(frame_id(1), "rating") == wanted
    assert Fold([two, one]).value(frame_id(1), "rating") == wanted


def test_each_word_of_a_frame_is_a_register_of_its_own() -> None:
    def word(text: str, on: bool) -> Change:
        return Change(subjects=(frame_id(1),), layer="keyword", line=text, value=on)

    fold = Fold([entry(word("ice", True), word("river", True)), entry(word("ice", False), counter=2)])
    assert fold.value(frame_id(1), "keyword", "ice") is False
    assert fold.value(frame_id(1), "keyword", "river") is True
    assert fold.value(frame_id(1), "keyword", "moon") is None


def test_a_statement_about_several_subjects_counts_for_each() -> None:
    told = entry(Change(subjects=(frame_id(1), frame_id(2)), layer="rating", value=3))
    assert [(each.subject, each.value) for each in statements(told)] == [(frame_id(1), 3), (frame_id(2), 3)]


def test_recipes_and_selections_are_no_registers() -> None:
    told = entry(*shared(CHOSEN, exposure(0.5)), own(1, exposure(1.0)), rating(1, 3), kind="recipe")
    assert [each.layer for each in statements(told)] == ["rating"]


def test_a_version_that_builds_on_another_replaces_it() -> None:
    first = entry(own(1, exposure(0.5)), kind="recipe")
    second = entry(own(1, exposure(1.0), builds_on=(first.id,)), kind="recipe", counter=2)
    for order in ([first, second], [second, first]):
        assert [each.entry for each in Fold(order).current(frame_id(1))] == [second.id]


def test_a_version_that_builds_on_one_that_is_not_here_still_speaks() -> None:
    second = entry(own(1, exposure(1.0), builds_on=(entry_id(1),)), kind="recipe", counter=2)
    assert [each.entry for each in Fold([second]).current(frame_id(1))] == [second.id]


def test_two_versions_that_do_not_know_each_other_are_contested_newest_first() -> None:
    first = entry(own(1, exposure(0.5)), kind="recipe")
    left = entry(own(1, exposure(1.0), builds_on=(first.id,)), kind="recipe", counter=2)
    right = entry(own(1, exposure(2.0), builds_on=(first.id,)), kind="recipe", counter=3)
    for order in permutations([first, left, right]):
        assert [each.entry for each in Fold(order).current(frame_id(1))] == [right.id, left.id]


def test_a_version_that_builds_on_both_settles_the_contest() -> None:
    left = entry(own(1, exposure(1.0)), kind="recipe")
    right = entry(own(1, exposure(2.0)), kind="recipe")
    settled = entry(own(1, exposure(3.0), builds_on=(left.id, right.id)), kind="recipe", counter=2)
    assert [each.entry for each in Fold([settled, left, right]).current(frame_id(1))] == [settled.id]


def test_a_selection_counts_as_its_frames() -> None:
    whole = entry(*shared(CHOSEN, exposure(0.5)), kind="recipe")
    part = entry(*shared(selection(2, 3), exposure(1.0), builds_on=(whole.id,)), kind="recipe", counter=2)
    fold = Fold([part, whole])
    assert [each.entry for each in fold.current(frame_id(1), SHARED)] == [whole.id]
    assert [each.entry for each in fold.current(frame_id(2), SHARED)] == [part.id]
    (version,) = fold.current(frame_id(3), SHARED)
    assert version.selection == selection(2, 3).id
    assert fold.current(frame_id(1), OWN) == []


def test_building_on_counts_only_for_the_frames_it_is_about() -> None:
    both = entry(own(1, exposure(0.5)), own(2, exposure(0.5)), kind="recipe")
    one = entry(own(1, exposure(1.0), builds_on=(both.id,)), kind="recipe", counter=2)
    fold = Fold([both, one])
    assert [each.entry for each in fold.current(frame_id(1))] == [one.id]
    assert [each.entry for each in fold.current(frame_id(2))] == [both.id]


def test_lines_of_a_recipe_do_not_touch_each_other() -> None:
    main = entry(own(1, exposure(0.5)), kind="recipe")
    other = entry(own(1, exposure(1.0), line="print", builds_on=(main.id,)), kind="recipe", counter=2)
    fold = Fold([main, other])
    assert [each.entry for each in fold.current(frame_id(1))] == [main.id]
    assert [each.entry for each in fold.current(frame_id(1), line="print")] == [other.id]


def test_applying_an_entry_again_changes_nothing() -> None:
    told = entry(own(1, exposure(0.5)), rating(1, 3), kind="recipe")
    once, twice = Fold([told]), Fold([told, told])
    assert once.registers == twice.registers
    assert once.versions == twice.versions


def test_of_two_versions_in_one_entry_for_one_frame_the_first_counts() -> None:
    told = entry(own(1, exposure(0.5)), own(1, exposure(1.0)), kind="recipe")
    (version,) = Fold([told]).current(frame_id(1))
    assert version.recipe == exposure(0.5)


def test_a_version_tells_who_when_and_why() -> None:
    told = entry(own(1, exposure(0.5), in_sequence=True, note="brighter ice"), kind="recipe", person="Ingrid")
    (version,) = versions(told)
    assert (version.person, version.time, version.note) == ("Ingrid", told.time, "brighter ice")
    assert (version.frame, version.in_sequence, version.selection) == (frame_id(1), True, None)


def test_the_selections_of_an_entry_are_found_by_id() -> None:
    told = entry(*shared(CHOSEN, exposure(0.5)), kind="recipe")
    assert selections(told) == {CHOSEN.id: CHOSEN}


def _broken() -> dict[str, Entry]:
    _, spoken = shared(CHOSEN, exposure(0.5))
    bare = {"in_sequence": False, "note": ""}
    ramp = exposure(0.5).to_json() | {
        "ramps": [
            {"parameter": "warmth.kelvin", "rule": "linear", "scale": "linear", "rounding": 0, "anchors": []}
        ]
    }
    about = {"subjects": (frame_id(1),), "layer": OWN, "line": "main"}
    return {
        "a selection that is not listed": entry(spoken, kind="recipe"),
        "frames that do not give the id": entry(
            Change(subjects=(CHOSEN.id,), layer="selection", value=selection(1, 2).to_json()), spoken
        ),
        "a selection of nothing": entry(
            Change(subjects=(CHOSEN.id,), layer="selection", value={"frames": [], "milliseconds": []})
        ),
        "no selection at all": entry(Change(subjects=(CHOSEN.id,), layer="selection", value=None)),
        "two subjects of a selection": entry(
            Change(subjects=(CHOSEN.id, CHOSEN.id), layer="selection", value=CHOSEN.to_json())
        ),
        "no recipe": entry(Change(**about, value=bare)),
        "a recipe that is a text": entry(Change(**about, value=bare | {"recipe": "bright"})),
        "a list for a value": entry(Change(**about, value=[])),
        "an operator twice": entry(
            Change(
                **about,
                value=bare
                | {"recipe": recipe().to_json() | {"base": [step("exposure", stops=1).to_json()] * 2}},
            )
        ),
        "a ramp of nothing": entry(Change(**about, value=bare | {"recipe": ramp})),
    }


@pytest.mark.parametrize("fault", sorted(_broken()))
def test_an_entry_whose_recipe_or_selection_cannot_be_read_is_set_aside_by_name(fault: str) -> None:
    told = _broken()[fault]
    with pytest.raises(DamagedFileError, match=f"{told.name} is whole, but"):
        list(versions(told))


def test_a_fold_takes_nothing_of_an_entry_that_is_set_aside() -> None:
    fold = Fold()
    told = entry(rating(1, 5), own(1, exposure(0.5)), shared(CHOSEN, exposure(0.5))[1], kind="recipe")
    fold.apply(told)
    assert fold.registers == {}
    assert fold.versions == {}
    assert "does not list" in fold.aside[told.name]


def test_a_fold_does_not_count_what_a_newer_release_wrote() -> None:
    dream = entry(rating(1, 5), kind="dream")
    fold = Fold([dream, entry(rating(2, 3))])
    assert [key[0] for key in fold.registers] == [frame_id(2)]
    assert fold.aside == {dream.name: "it was written by a newer release"}


@pytest.mark.parametrize("odd", [["no frame"], [frame_id(1), "xxh128:12"]])
def test_a_selection_of_things_that_are_no_frames_is_set_aside(odd: list[str]) -> None:
    chosen = Selection(frames=tuple(odd), milliseconds=tuple(range(len(odd))))  # type: ignore[arg-type]
    told = entry(*shared(chosen, exposure(0.5)), kind="recipe")
    with pytest.raises(DamagedFileError, match="what is no frame"):
        list(versions(told))


def test_a_recipe_for_something_that_is_no_frame_and_an_endless_note_are_set_aside() -> None:
    change = own(1, exposure(0.5))
    with pytest.raises(DamagedFileError, match="something that is no frame"):
        list(versions(entry(replace(change, subjects=("roll:7c1f9a2e",)), kind="recipe")))
    with pytest.raises(DamagedFileError, match="endless"):
        list(versions(entry(own(1, exposure(0.5), note="x" * 10_001), kind="recipe")))


def test_heads_of_nothing_are_none() -> None:
    assert heads([]) == []
