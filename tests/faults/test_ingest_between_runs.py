"""An ingest that was interrupted, and a card, a volume or a record that is not as it was when it goes on."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from support.cards import contents, put, tiny_card
from support.disks import Machine, MemoryDisk, Stopped
from support.takings import Taking, listed, masters, statements, unlisted_or_wrong

from archive.ingest.closing import close_unfinished
from archive.ingest.setting import Outcome
from archive.store.digest import digest_bytes

HOUR = 3600 * 10**9
INDEX = "MISC/M0100.CTG"


@pytest.fixture
def card(tmp_path: Path) -> Path:
    made = tiny_card(tmp_path / "card", 4)
    put(made, INDEX, b"a" * 100)
    return made


def expected(card: Path) -> dict[str, bytes]:
    return {path.removeprefix("DCIM/"): data for path, (data, _) in contents(card).items()}


def interrupted(card: Path, names: tuple[str, ...], at: str) -> dict[str, MemoryDisk]:
    """What a run leaves that is killed just before its first step that begins like ``at``."""
    disks = {name: MemoryDisk(machine=Machine()) for name in names}

    def stop(what: str) -> None:
        if what.startswith(at.partition("#")[0]) and what.endswith(at.partition("#")[2]):
            raise Stopped(what)

    for disk in disks.values():
        disk.faults = stop
    with pytest.raises(Stopped):
        Taking(disks).take(card)
    return {name: disk.after_kill() for name, disk in disks.items()}


PUBLISHED_SOME = "publish masters/#NOCT0003.JPG"
PUBLISHED_ALL = "sync masters/"
ACKNOWLEDGED = "publish masters/#ascmhl_chain.xml"


def taken(disks: dict[str, MemoryDisk], card: Path) -> Outcome:
    (outcome,) = Taking(disks).take(card)
    assert isinstance(outcome, Outcome), outcome
    return outcome


def stated_as(disk: MemoryDisk, path: str) -> list[str]:
    return [file["digest"] for roll in statements([disk]) for file in roll["files"] if file["path"] == path]


def nothing_left(disk: MemoryDisk) -> None:
    assert disk.files("incoming") == []
    assert listed(disk).keys() == masters(disk).keys()


@pytest.mark.parametrize("at", ["begin incoming/ingest-", PUBLISHED_SOME, PUBLISHED_ALL, ACKNOWLEDGED])
def test_a_file_deleted_on_the_card_does_not_keep_the_others_from_being_listed(card: Path, at: str) -> None:
    disks = interrupted(card, ("BLUE",), at)
    there = masters(disks["BLUE"])
    gone = "DCIM/100NOCTU/NOCT0004.JPG"
    want = expected(card)
    (card / gone).unlink()
    outcome = taken(disks, card)
    if "100NOCTU/NOCT0004.JPG" in there:
        assert outcome.failed == []
    else:
        assert [(note.path, note.text) for note in outcome.failed] == [
            (gone, "was planned, was not copied, and no card here has it any more")
        ] * (at != "begin incoming/ingest-")
        want.pop("100NOCTU/NOCT0004.JPG")
    assert outcome.waiting == []
    assert outcome.copied == len(want.keys() - there.keys())
    assert outcome.copied + len(outcome.held) == 4
    assert masters(disks["BLUE"]) == want
    nothing_left(disks["BLUE"])
    (roll,) = statements([disks["BLUE"]])
    assert {f["path"]: f["digest"] for f in roll["files"]} == {p: digest_bytes(d) for p, d in want.items()}
    again = taken(disks, card)
    assert (again.copied, len(again.held), again.failed, again.waiting) == (0, 4, [], [])


@pytest.mark.parametrize("at", [PUBLISHED_SOME, PUBLISHED_ALL])
def test_an_index_file_that_the_camera_rewrote_is_taken_as_it_is_now_and_holds_nothing_up(
    card: Path, at: str
) -> None:
    disks = interrupted(card, ("BLUE",), at)
    before = masters(disks["BLUE"]).get(INDEX)
    (card / INDEX).write_bytes(b"b" * 120)
    outcome = taken(disks, card)
    assert (outcome.failed, outcome.waiting) == ([], [])
    assert [note.path for note in outcome.remarks] == ([INDEX] if before is None else [])
    nothing_left(disks["BLUE"])
    stated = [
        f["digest"] for roll in statements([disks["BLUE"]]) for f in roll["files"] if f["path"] == INDEX
    ]
    wanted = [data for data in (before, b"b" * 120) if data is not None]
    assert sorted(stated) == sorted(map(digest_bytes, wanted))


@pytest.mark.parametrize("at", ["write incoming/ingest-", PUBLISHED_SOME, PUBLISHED_ALL, ACKNOWLEDGED])
def test_a_card_whose_times_all_moved_by_an_hour_is_the_same_card(card: Path, at: str) -> None:
    """FAT keeps local time: a change of zone or of summer time moves every time on the card."""
    disks = interrupted(card, ("BLUE", "RED"), at)
    there = [masters(disk) for disk in disks.values()]
    for path in (p for p in card.rglob("*") if p.is_file()):
        os.utime(path, ns=(path.stat().st_mtime_ns + HOUR,) * 2)
    outcome = taken(disks, card)
    assert (outcome.failed, outcome.waiting) == ([], [])
    assert outcome.copied == len(expected(card).keys() - (there[0].keys() & there[1].keys()))
    assert outcome.copied + len(outcome.held) == 5
    for disk in disks.values():
        assert masters(disk) == expected(card)
        nothing_left(disk)
        assert len(statements([disk])) == 1


def test_another_time_and_other_bytes_of_one_size_is_another_file(card: Path) -> None:
    disks = interrupted(card, ("BLUE",), PUBLISHED_ALL)
    path = card / INDEX
    path.write_bytes(b"z" * 100)
    os.utime(path, ns=(path.stat().st_mtime_ns + HOUR,) * 2)
    outcome = taken(disks, card)
    assert (outcome.failed, outcome.waiting) == ([], [])
    nothing_left(disks["BLUE"])
    stated = [
        f["digest"] for roll in statements([disks["BLUE"]]) for f in roll["files"] if f["path"] == INDEX
    ]
    assert sorted(stated) == sorted([digest_bytes(b"a" * 100), digest_bytes(b"z" * 100)])


def closed(disks: dict[str, MemoryDisk]) -> Outcome:
    return close_unfinished(Taking(disks).setting())


@pytest.mark.parametrize("names", [("BLUE",), ("BLUE", "RED")], ids=["one", "two"])
def test_an_ingest_whose_card_was_formatted_is_closed_with_what_lies_there(
    card: Path, tmp_path: Path, names: tuple[str, ...]
) -> None:
    disks = interrupted(card, names, PUBLISHED_SOME)
    want = expected(card)
    lying = [masters(disk) for disk in disks.values()]
    there, everywhere = lying[0], lying[0].keys() & lying[-1].keys()
    assert 0 < len(there) < 5
    other = tiny_card(tmp_path / "other", 2, serial="000999", first=20)
    outcome = taken(disks, other)
    (waiting,) = outcome.waiting
    assert "waits for its card: " in waiting
    assert "`noctuary ingest --close-unfinished`" in waiting
    outcome = closed(disks)
    assert outcome.waiting == []
    assert len(outcome.failed) == 5 - len(everywhere)
    alone = {n.path for n in outcome.failed if n.text == "lies on BLUE alone, and no card here has it"}
    assert {path.removeprefix("DCIM/") for path in alone} == there.keys() - everywhere
    for disk in disks.values():
        nothing_left(disk)
        lasting = disk.after_power_loss()
        assert unlisted_or_wrong(lasting, want | expected(other)) == []
    stated = {f["path"] for roll in statements([disks["BLUE"]]) for f in roll["files"]}
    assert there.keys() <= stated
    assert closed(disks).failed == []
    # Should the card turn up after all, only what is missing is copied.
    again = taken(disks, card)
    assert (again.failed, again.waiting) == ([], [])
    for disk in disks.values():
        assert masters(disk) == want | expected(other)
        nothing_left(disk)


def test_what_only_a_volume_holds_that_was_away_when_its_ingest_was_closed_is_told(
    card: Path, tmp_path: Path
) -> None:
    disks = interrupted(card, ("BLUE", "RED"), ACKNOWLEDGED)
    (path,) = (path for path in disks["RED"].names if path.endswith("NOCT0002.JPG"))
    del disks["RED"].names[path]
    assert len(closed({"RED": disks["RED"]}).failed) == 1
    outcome = taken(disks, tiny_card(tmp_path / "other", 1, serial="000999", first=20))
    (waiting,) = outcome.waiting
    assert waiting.startswith("BLUE holds 1 files of masters/")
    assert "100NOCTU/NOCT0002.JPG" in masters(disks["BLUE"])
    again = taken(disks, card)
    assert (again.copied, again.failed, again.waiting) == (1, [], [])
    assert listed(disks["BLUE"])["100NOCTU/NOCT0002.JPG"] == listed(disks["RED"])["100NOCTU/NOCT0002.JPG"]


def test_what_rotted_between_two_runs_is_not_listed_as_the_original(card: Path) -> None:
    """The card is away: only what the first run put down can tell."""
    disks = interrupted(card, ("BLUE",), ACKNOWLEDGED)
    disk = disks["BLUE"]
    (path,) = (p for p in disk.names if p.endswith("NOCT0002.JPG"))
    disk.names[path].data[-9] ^= 1
    rotten = bytes(disk.names[path].data)
    outcome = closed(disks)
    assert [(note.path, note.text) for note in outcome.failed] == [
        ("DCIM/100NOCTU/NOCT0002.JPG", "is no more on BLUE what was copied there, and no card here has it")
    ]
    assert "100NOCTU/NOCT0002.JPG" not in listed(disk)
    assert len(listed(disk)) == 4
    assert bytes(disk.names[path].data) == rotten


def test_volumes_that_disagree_are_said_to_disagree(card: Path, tmp_path: Path) -> None:
    disks = interrupted(card, ("BLUE", "RED"), ACKNOWLEDGED)
    for disk in disks.values():
        for name in [name for name in disk.names if name.endswith(".proven")]:
            del disk.names[name]
    (path,) = (p for p in disks["RED"].names if p.endswith("NOCT0002.JPG"))
    disks["RED"].names[path].data[-9] ^= 1
    other = tiny_card(tmp_path / "other", 1, serial="000999", first=20)
    (waiting,) = taken(disks, other).waiting
    assert "NOCT0002.JPG is not the same on BLUE and RED, and no card here has it to tell" in waiting


def test_a_damaged_record_stops_no_ingest_and_is_left(card: Path) -> None:
    disks = interrupted(card, ("BLUE",), PUBLISHED_SOME)
    disk = disks["BLUE"]
    (name,) = (name for name in disk.names if name.startswith("incoming/") and name.endswith(".json"))
    disk.names[name].data[:] = b'{"type":"noctuary-inc'
    outcome = taken(disks, card)
    assert outcome.failed == []
    (waiting,) = outcome.waiting
    assert waiting.startswith(f"the record {name} on BLUE of an interrupted ingest cannot be read (")
    assert (outcome.copied, len(statements([disk]))) == (5, 1)
    assert bytes(disk.names[name].data) == b'{"type":"noctuary-inc'
    assert set(expected(card).values()) <= set(masters(disk).values())


def test_a_record_damaged_on_one_volume_is_obeyed_as_the_other_has_it(card: Path) -> None:
    disks = interrupted(card, ("BLUE", "RED"), PUBLISHED_SOME)
    (name,) = (n for n in disks["BLUE"].names if n.startswith("incoming/") and n.endswith(".json"))
    disks["BLUE"].names[name].data[:] = b""
    outcome = taken(disks, card)
    assert (outcome.failed, outcome.waiting) == ([], [])
    for disk in disks.values():
        assert masters(disk) == expected(card)
        nothing_left(disk)
