"""What was seen of a journal's folders, and what came since."""

from __future__ import annotations

from support.builders import entry, memory_catalogue, rating

from archive.catalogue.seen import came, entry_count, known_among, note_folders, seen_folders
from archive.journal.folders import Folder

MARCH = Folder(mark="1:2:3:4", entries=("a", "b"), strange=("journal/2026-03/n\udce9\nt",))
TOP = Folder(mark="", below=("journal/2026-03",))


def test_folders_are_kept_as_they_were_and_only_the_changed_ones_written() -> None:
    catalogue = memory_catalogue()
    now = {"journal": TOP, "journal/2026-03": MARCH}
    note_folders(catalogue.engine, "v1", now, {})
    note_folders(catalogue.engine, "v2", {"journal": TOP}, {})
    assert seen_folders(catalogue.engine) == {"v1": now, "v2": {"journal": TOP}}
    later = {"journal/2026-03": Folder(mark="5", entries=("a", "b", "c"))}
    note_folders(catalogue.engine, "v1", later, now)
    assert seen_folders(catalogue.engine)["v1"] == later


def test_a_folder_whose_name_no_table_can_hold_is_simply_not_kept() -> None:
    catalogue = memory_catalogue()
    note_folders(catalogue.engine, "v1", {"journal": TOP, "journal/\udce9": MARCH, "j" * 500: MARCH}, {})
    assert seen_folders(catalogue.engine) == {"v1": {"journal": TOP}}


def test_names_that_came_are_told_and_any_that_went_ask_for_a_look_at_all() -> None:
    seen = {"v1": {"journal": TOP, "journal/2026-03": MARCH}}
    assert came({"v1": seen["v1"]}, seen) == set()
    grown = {"journal": TOP, "journal/2026-03": Folder(mark="", entries=("a", "b", "c"))}
    new = {**grown, "journal/2026-04": Folder(mark="", entries=("d",))}
    assert came({"v1": grown}, seen) == {"c"}
    assert came({"v1": new}, seen) == {"c", "d"}
    assert came({"v1": {"journal": TOP}}, seen) is None
    moved = {**grown, "journal/2026-03": Folder(mark="", entries=("b", "c"))}
    assert came({"v1": moved}, seen) is None
    assert came({"v1": grown, "v2": grown}, seen) is None


def test_entries_are_counted_and_asked_for_by_name() -> None:
    catalogue = memory_catalogue()
    made = entry(rating(1, 3))
    catalogue.apply([made])
    assert entry_count(catalogue.engine) == 1
    assert known_among(catalogue.engine, [made.name, *(f"x{n}" for n in range(700))]) == {made.name}
