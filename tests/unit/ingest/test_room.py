"""What fits, known before the first byte."""

from __future__ import annotations

import pytest
from support.disks import MemoryDisk
from support.takings import volume_in

from archive.errors import ArchiveError, Exit
from archive.ingest.errand import Errand
from archive.ingest.room import check_limits, check_room
from archive.store.naming import Naming
from archive.store.traits import FAT_LARGEST, FAT_STEP_NS, Traits
from archive.store.volumes import Volume

FAT = Traits(kind="vfat", largest_file=FAT_LARGEST, time_step_ns=FAT_STEP_NS, naming=Naming.CLAIM)


def volume(room: int = 1 << 40, traits: Traits | None = None) -> Volume:
    disk = MemoryDisk(traits=traits)
    disk.room = room
    return volume_in(disk, "RED")


def errand(size: int, to: Volume, name: str = "MISC/A.MOV", modified_ns: int = 0) -> Errand:
    return Errand(
        source=None,
        name=name,
        target=f"masters/n/r/{name}",
        size=size,
        modified_ns=modified_ns,
        wanted=frozenset((to.id,)),
    )


def test_a_volume_that_is_too_small_is_named_with_what_it_has_and_needs() -> None:
    red = volume(room=1_000_000_000)
    with pytest.raises(ArchiveError) as caught:
        check_room([errand(2_000_000_000, red)], [red])
    assert caught.value.message == "There is no room for this card: RED has 1.0 GB free and needs 2.0 GB."
    assert caught.value.exit_code is Exit.REFUSED


def test_what_lies_there_already_and_what_is_not_wanted_needs_no_room() -> None:
    red = volume(room=0)
    there = errand(2_000_000_000, red)
    red.disk.begin(there.target)
    elsewhere = Errand(
        source=None, name="B", target="masters/B", size=5, modified_ns=0, wanted=frozenset(("other",))
    )
    check_room([there, elsewhere], [red])


def test_what_other_cards_bring_meanwhile_counts() -> None:
    red = volume(room=3_000_000_000)
    check_room([errand(2_000_000_000, red)], [red])
    with pytest.raises(ArchiveError, match="needs 4"):
        check_room([errand(2_000_000_000, red)], [red], [errand(2_000_000_000, red, "B.MOV")])


def test_a_file_of_four_gib_is_refused_for_fat_before_the_first_byte() -> None:
    red = volume(traits=FAT)
    check_limits([errand(FAT_LARGEST, red)], [red])
    with pytest.raises(ArchiveError) as caught:
        check_limits([errand(5, red, "B.JPG"), errand(FAT_LARGEST + 1, red)], [red])
    assert caught.value.message == (
        "MISC/A.MOV has 4.3 GB, and the file system of RED (vfat) holds no file over 4.3 GB."
    )
    assert "Nothing was copied" in caught.value.hint


def test_coarse_times_and_names_under_a_lock_are_remarked() -> None:
    red = volume(traits=FAT)
    notes = check_limits([errand(5, red, modified_ns=1_773_873_061_000_000_000)], [red])
    assert [note.path for note in notes] == ["RED", "RED"]
    assert "keeps times in steps of 2 s" in notes[0].text
    assert "no way to name a file without replacing another" in notes[1].text


def test_times_that_fall_on_the_step_and_volumes_that_get_nothing_are_not_remarked() -> None:
    red = volume(traits=Traits(time_step_ns=FAT_STEP_NS))
    assert check_limits([errand(5, red, modified_ns=4_000_000_000)], [red]) == []
    assert check_limits([], [volume(traits=FAT)]) == []


def test_two_volumes_on_one_file_system_share_its_room() -> None:
    """Each was given all of it, so that a run began that could not end."""
    red, blue, apart = volume(room=3_000_000_000), volume(room=3_000_000_000), volume(room=3_000_000_000)
    blue = volume_in(blue.disk, "BLUE")  # type: ignore[arg-type]
    apart = volume_in(apart.disk, "APART")  # type: ignore[arg-type]
    big = Errand(
        source=None,
        name="A.MOV",
        target="masters/A.MOV",
        size=2_000_000_000,
        modified_ns=0,
        wanted=frozenset((red.id, blue.id, apart.id)),
    )
    check_room([big], [red, blue, apart])
    blue.disk.pool = red.disk.pool  # type: ignore[attr-defined]
    with pytest.raises(ArchiveError) as caught:
        check_room([big], [red, blue, apart])
    assert caught.value.message == (
        "There is no room for this card: RED and BLUE lie on one file system, which has 3.0 GB free, "
        "and need 4.1 GB."
    )


def test_small_files_take_whole_clusters() -> None:
    """5 000 files of 4 KB take 0.66 GB in clusters of 128 KiB, and 20 MB by their sizes."""
    red = volume(room=600_000_000)
    files = [errand(4_000, red, f"{number}.JPG") for number in range(5_000)]
    check_room(files, [red])
    red.disk.block = 128 << 10  # type: ignore[attr-defined]
    with pytest.raises(ArchiveError, match=r"RED has 0\.6 GB free and needs 0\.7 GB"):
        check_room(files, [red])
    red.disk.room = 5_000 * (128 << 10) * 101 // 100 + (8 << 20)  # type: ignore[attr-defined]
    check_room(files, [red])
    red.disk.room -= 1  # type: ignore[attr-defined]
    with pytest.raises(ArchiveError, match="no room"):
        check_room(files, [red])


def test_a_missing_read_only_mark_is_remarked() -> None:
    red = volume(traits=Traits(kind="fuseblk", keeps_read_only=False))
    (note,) = check_limits([errand(5, red)], [red])
    assert note.path == "RED" and "(fuseblk) keeps no read-only mark" in note.text


def test_a_volume_that_fails_while_it_is_asked_is_told_and_the_others_are_asked() -> None:
    red, small = volume(), volume_in(volume(room=0).disk, "SMALL")  # type: ignore[arg-type]
    failed: list[tuple[str, str]] = []

    def broken() -> int:
        raise OSError(5, "Input/output error")

    red.disk.free = broken  # type: ignore[method-assign]
    red.disk.traits = broken  # type: ignore[method-assign,assignment]
    both = Errand(
        source=None,
        name="A",
        target="masters/A",
        size=5,
        modified_ns=0,
        wanted=frozenset((red.id, small.id)),
    )

    def note(each: Volume, error: ArchiveError) -> None:
        failed.append((each.name, error.message))

    with pytest.raises(ArchiveError, match="SMALL has"):
        check_room([both], [red, small], (), note)
    assert check_limits([both], [red, small], note) == []
    assert failed == [("RED", "RED cannot be written: Input/output error.")] * 2


def test_a_volume_that_cannot_be_tried_is_told() -> None:
    red = volume()

    def broken() -> Traits:
        raise OSError(30, "Read-only file system")

    red.disk.traits = broken  # type: ignore[method-assign]
    with pytest.raises(ArchiveError, match="RED cannot be written: Read-only file system"):
        check_limits([errand(5, red)], [red])
