"""What stands for a frame without one of its versions, over every small history there can be."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from support.builders import entry_id, exposure, frame_id, recipe

from archive.journal.current import heads
from archive.journal.withdrawing import without
from archive.model.entry import OWN, Version


def version(number: int, *older: int) -> Version:
    return Version(
        entry=entry_id(number),
        counter=number,
        time="2026-03-19T06:15:02Z",
        person="Ingrid",
        frame=frame_id(1),
        layer=OWN,
        line="main",
        recipe=exposure(number / 10),
        builds_on=tuple(entry_id(each) for each in older),
    )


FIRST, ANN, BO = version(1), version(2, 1), version(3, 1)


def test_in_a_plain_history_the_one_before_comes_back() -> None:
    found = without([FIRST, ANN], ANN.entry)
    assert found is not None
    assert (found.stands, found.builds_on, found.later, found.done) == (FIRST, (ANN,), (), False)
    first = without([FIRST], FIRST.entry)
    assert first is not None
    assert (first.stands, first.builds_on) == (None, (FIRST,))
    assert without([FIRST], ANN.entry) is None


def test_of_two_rivals_the_other_stands_whichever_is_the_newer() -> None:
    for mine, other in ((ANN, BO), (BO, ANN)):
        found = without([FIRST, ANN, BO], mine.entry)
        assert found is not None
        assert found.stands == other
        assert set(found.builds_on) == {ANN, BO}
        assert found.later == ()


def test_of_three_rivals_the_third_goes_on_contesting() -> None:
    third = version(4, 1)
    found = without([FIRST, ANN, BO, third], BO.entry)
    assert found is not None
    assert (found.stands, set(found.builds_on)) == (third, {BO, third})


def test_what_was_built_on_it_is_later_and_goes_with_it() -> None:
    on = version(4, 3)
    found = without([FIRST, ANN, BO, on], BO.entry)
    assert found is not None
    assert (found.stands, found.later, set(found.builds_on)) == (ANN, (on,), {on, ANN})


def test_what_had_settled_a_contest_tells_which_side_is_not_current_again() -> None:
    settled = version(4, 2, 3)
    found = without([FIRST, ANN, BO, settled], settled.entry)
    assert found is not None
    assert (found.stands, found.builds_on, found.parted) == (BO, (settled,), (ANN,))


def test_nothing_is_left_to_do_where_the_same_is_said_alone() -> None:
    again = replace(version(2, 1), recipe=FIRST.recipe)
    found = without([FIRST, again], again.entry)
    assert found is not None
    assert found.done
    nothing = replace(FIRST, recipe=recipe())
    emptied = without([nothing], nothing.entry)
    assert emptied is not None
    assert emptied.done
    rival = without([FIRST, again, replace(BO, recipe=FIRST.recipe)], again.entry)
    assert rival is not None
    assert not rival.done


def test_over_all_histories_of_four_no_other_current_version_is_lost() -> None:
    older = [(), (1,), (2,), (1, 2), (3,), (1, 3), (2, 3), (1, 2, 3)]
    shapes = 0
    for second, third, fourth in product(older[:2], older[:4], older):
        listed = [version(1), version(2, *second), version(3, *third), version(4, *fourth)]
        for mine in listed:
            found = without(listed, mine.entry)
            assert found is not None
            restated = version(5, *(int(v.counter) for v in found.builds_on))
            restated = replace(restated, recipe=found.stands.recipe if found.stands else recipe())
            now = heads([*listed, restated])
            gone = {mine.entry}
            for each in listed:
                gone |= {each.entry} if gone & set(each.builds_on) else set()
            others = [each for each in heads(listed) if each.entry not in gone]
            said = [each.recipe for each in now]
            assert all(each.recipe in said for each in others)
            assert not gone & {each.entry for each in now}
            assert now[0] == restated
            shapes += 1
    assert shapes == 2 * 4 * 8 * 4
