from __future__ import annotations

from support.builders import entry, frame_id, memory_catalogue, rating

from archive.catalogue.decided import Stated, headings, stating

ENTRIES = [entry(rating(n % 2 + 1, n), kind="rating", counter=n, person="Ingrid") for n in (1, 2, 3, 4, 5)]


def test_headings_are_newest_first_by_kind_by_id_and_before_an_order() -> None:
    catalogue = memory_catalogue()
    catalogue.apply(ENTRIES)
    assert [each.counter for each in headings(catalogue)] == [5, 4, 3, 2, 1]
    assert [each.counter for each in headings(catalogue, limit=2)] == [5, 4]
    assert headings(catalogue, kinds=["recipe"]) == []
    third = ENTRIES[2]
    assert [each.counter for each in headings(catalogue, kinds=["rating"], before=third.order)] == [2, 1]
    (found,) = headings(catalogue, id_start=third.id[7:19])
    assert (found.id, found.name, found.person) == (third.id, third.name, "Ingrid")
    assert headings(catalogue, id_start="%") == []


def test_the_entry_that_states_what_stands_is_told() -> None:
    catalogue = memory_catalogue()
    catalogue.apply(ENTRIES)
    assert stating(catalogue, [frame_id(1), frame_id(2), frame_id(3)], "rating") == {
        (frame_id(1), ""): Stated(entry=ENTRIES[3].id, value=4),
        (frame_id(2), ""): Stated(entry=ENTRIES[4].id, value=5),
    }
    assert stating(catalogue, [frame_id(1)], "keyword") == {}
