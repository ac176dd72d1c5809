"""Entries are found wherever they lie below the journal, and again only where something may have changed."""

from __future__ import annotations

import os
from pathlib import Path

from support.disks import MemoryDisk

from archive.journal.counters import STRIDE
from archive.journal.folders import DEEPEST, Folder, Folders, Held, entry_paths, strangers
from archive.store.durable import LocalDisk
from archive.store.listing import Listing


def name(counter: int) -> str:
    return f"{counter:010d}-20260319T061502Z-rating-{counter:016x}.json"


def lay(root: Path, *paths: str) -> None:
    for path in paths:
        target = root / "journal" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(b"{}")


def test_folders_mean_nothing_however_they_lie_in_each_other(tmp_path: Path) -> None:
    lay(tmp_path, name(1), f"2026-03/{name(2)}", f"y/2026/03/{name(3)}", f".hidden/{name(4)}")
    assert {n: p for p, n in entry_paths(LocalDisk(tmp_path))} == {
        name(1): f"journal/{name(1)}",
        name(2): f"journal/2026-03/{name(2)}",
        name(3): f"journal/y/2026/03/{name(3)}",
        name(4): f"journal/.hidden/{name(4)}",
    }


def test_what_is_no_entry_is_told_with_links_and_folders_that_lie_too_deep(tmp_path: Path) -> None:
    deep = "/".join("abcdefgh"[:DEEPEST])
    lay(tmp_path, "notes.txt", f"2026-03/{name(1)}", "2026-03/.DS_Store", f"{deep}/x/{name(2)}", ".s/notes")
    (tmp_path / "journal" / "2026-04").symlink_to(tmp_path / "journal" / "2026-03")
    folders = Folders(LocalDisk(tmp_path)).look()
    assert strangers(folders) == ["journal/notes.txt", "journal/2026-04", f"journal/{deep}/x"]
    assert [each for folder in folders.values() for each in folder.entries] == [name(1)]


def test_a_journal_that_is_a_link_holds_nothing(tmp_path: Path) -> None:
    lay(tmp_path / "other", name(1))
    (tmp_path / "journal").symlink_to(tmp_path / "other" / "journal")
    assert list(entry_paths(LocalDisk(tmp_path))) == []


class Counting(MemoryDisk):
    """A disk that marks its folders by how many names they hold, and counts how often they are listed."""

    def __init__(self) -> None:
        super().__init__()
        self.listed: list[str] = []
        self.sure = True

    def listing(self, path: str, held: str = "") -> Listing:  # type: ignore[override]
        found = super().listing(path)
        mark = f"{len(found.files)}:{len(found.folders)}" if self.sure else ""
        if held and held == mark:
            return None  # type: ignore[return-value]
        self.listed.append(path)
        return Listing(files=found.files, folders=found.folders, mark=mark)

    def lay(self, path: str) -> None:
        self.begin(f"journal/{path}").finish()


def test_only_folders_that_changed_are_listed_again(tmp_path: Path) -> None:
    disk = Counting()
    disk.lay(f"2026-03/{name(1)}")
    disk.lay(f"2026-04/{name(2)}")
    folders = Folders(disk)
    first = folders.look()
    assert disk.listed == ["journal", "journal/2026-03", "journal/2026-04"]
    disk.listed.clear()
    assert folders.look() == first and disk.listed == []
    disk.lay(f"2026-04/{name(3)}")
    assert folders.look()["journal/2026-04"].entries == (name(2), name(3))
    assert disk.listed == ["journal/2026-04"]
    disk.listed.clear()
    later = Folders(disk)
    later.recall(first)
    later.look()
    assert disk.listed == ["journal/2026-04"]
    disk.sure, disk.listed = False, []
    later.look()
    later.look()
    assert disk.listed == 2 * ["journal", "journal/2026-03", "journal/2026-04"]


def test_what_is_held_is_asked_by_counter_and_by_name() -> None:
    one, two = MemoryDisk(), MemoryDisk()
    held = Held(
        [
            (one, {"journal": Folder(mark="", entries=(name(3), name(5)))}),
            (two, {"journal": Folder(mark=""), "journal/a": Folder(mark="", entries=(name(4), name(5)))}),
        ]
    )
    assert held.greatest() == 5 and name(4) in held and name(6) not in held
    assert held.newest_first(4) == [name(5), name(4)]
    assert held.of([name(5), name(9)]) == {
        name(5): [(one, f"journal/{name(5)}"), (two, f"journal/a/{name(5)}")]
    }
    assert list(held.places()) == [name(3), name(5), name(4)]


def test_a_name_far_above_all_others_is_no_greatest_of_what_is_held() -> None:
    names = (name(7), name(7 + STRIDE), name(9_999_999_999))
    assert Held([(MemoryDisk(), {"journal": Folder(mark="", entries=names)})]).greatest() == 7 + STRIDE


def test_times_that_a_copying_tool_sets_back_hide_no_entry(tmp_path: Path) -> None:
    lay(tmp_path, f"2026-03/{name(1)}")
    folder = tmp_path / "journal" / "2026-03"
    folders = Folders(LocalDisk(tmp_path))
    folders.look()
    was = folder.stat()
    lay(tmp_path, f"2026-03/{name(2)}")
    os.utime(folder, ns=(was.st_atime_ns, was.st_mtime_ns))
    assert folders.look()["journal/2026-03"].entries == (name(1), name(2))
