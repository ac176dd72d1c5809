"""Cards and drives that lie, stutter, change or go away while a card is taken in; inline and in threads."""

from __future__ import annotations

import errno
import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from support.cards import contents, put, tiny_card, wav
from support.disks import MemoryDisk, MemoryWriting
from support.takings import Taking, listed, masters, statements, unlisted_or_wrong

from archive.errors import DamagedFileError, Exit
from archive.ingest import opening
from archive.ingest.setting import Outcome
from archive.ingest.stages import StageMaker, inline, threaded
from archive.store.digest import digest_bytes


@pytest.fixture(params=[inline, threaded], ids=["inline", "threads"])
def stages(request: pytest.FixtureRequest) -> StageMaker:
    made: StageMaker = request.param
    return made


@pytest.fixture
def changing() -> set[str]:
    """What a test itself changes on its card."""
    return set()


@pytest.fixture
def card(tmp_path: Path, changing: set[str]) -> Iterator[Path]:
    """A card that is afterwards as it was: every name, every byte, every time."""
    made = tiny_card(tmp_path / "card", 5)
    put(made, "DCIM/100NOCTU/NOCT0002.WAV", wav(40))
    before = contents(made)
    yield made
    after = contents(made)
    assert {path for path in {**before, **after} if before.get(path) != after.get(path)} == changing


def expected(card: Path) -> dict[str, bytes]:
    return {path.removeprefix("DCIM/"): data for path, (data, _) in contents(card).items()}


def taken(taking: Taking, card: Path) -> Outcome:
    (outcome,) = taking.take(card)
    assert isinstance(outcome, Outcome), outcome
    return outcome


def two() -> dict[str, MemoryDisk]:
    return {"BLUE": MemoryDisk(), "RED": MemoryDisk()}


def whole(disks: dict[str, MemoryDisk], card: Path) -> None:
    want = expected(card)
    for disk in disks.values():
        assert masters(disk) == want
        assert listed(disk) == {path: digest_bytes(data) for path, data in want.items()}
        assert disk.files("incoming") == []


def rotting(disk: MemoryDisk, part: str, times: int) -> None:
    """From now on a bit of every file of ``part`` bytes turns on its way to the medium, so many times."""
    left = [times]

    def flip(what: str) -> None:
        if not what.startswith("finish incoming/ingest-") or not left[0]:
            return
        node = disk.names[what.removeprefix("finish ")]
        if len(node.data) == int(part):
            left[0] -= 1
            node.data[len(node.data) // 2] ^= 1

    disk.faults = flip


def test_what_turned_on_its_way_to_the_medium_is_written_again(card: Path, stages: StageMaker) -> None:
    disks = two()
    size = (card / "DCIM/100NOCTU/NOCT0002.WAV").stat().st_size
    rotting(disks["RED"], str(size), 2)
    outcome = taken(Taking(disks, stages=stages), card)
    assert (outcome.failed, outcome.waiting, outcome.copied) == ([], [], 6)
    whole(disks, card)


def test_a_volume_that_keeps_turning_bytes_is_left_out_and_nothing_wrong_is_published(
    card: Path, stages: StageMaker
) -> None:
    disks = two()
    size = (card / "DCIM/100NOCTU/NOCT0002.WAV").stat().st_size
    rotting(disks["RED"], str(size), 1000)
    outcome = taken(Taking(disks, stages=stages), card)
    assert outcome.failed == []
    (waiting,) = outcome.waiting
    assert waiting.startswith("RED was left out: RED does not give back what was written to it: the copy of")
    whole({"BLUE": disks["BLUE"]}, card)
    assert unlisted_or_wrong(disks["RED"], expected(card)) == []
    disks["RED"].faults = lambda _what: None
    assert taken(Taking(disks, stages=stages), card).waiting == []
    whole(disks, card)


def test_the_only_volume_turning_bytes_ends_the_run_with_a_clear_error(
    card: Path, stages: StageMaker
) -> None:
    disk = MemoryDisk()
    size = (card / "DCIM/100NOCTU/NOCT0002.WAV").stat().st_size
    rotting(disk, str(size), 1000)
    (error,) = Taking({"BLUE": disk}, stages=stages).take(card)
    assert isinstance(error, DamagedFileError)
    assert "NOCT0002.WAV did not match the card, 3 times" in error.message
    assert error.exit_code is Exit.ATTENTION
    assert unlisted_or_wrong(disk, expected(card)) == []
    disk.faults = lambda _what: None
    assert taken(Taking({"BLUE": disk}, stages=stages), card).failed == []
    whole({"BLUE": disk}, card)


def test_a_write_that_takes_only_a_part_of_a_block_is_a_fault_of_the_volume(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that says it is full in the middle of a block, having kept the first half."""
    disks = two()
    write = MemoryWriting.write

    def short(self: MemoryWriting, block: bytes | memoryview) -> None:
        if self._disk is disks["RED"] and self._path.startswith("incoming/ingest-") and len(block) > 60_000:
            write(self, memoryview(block)[: len(block) // 2])
            raise OSError(errno.ENOSPC, "No space left on device")
        write(self, block)

    with monkeypatch.context() as patch:
        patch.setattr(MemoryWriting, "write", short)
        outcome = taken(Taking(disks, stages=stages), card)
    assert "RED cannot be written: No space left on device" in outcome.waiting[0]
    whole({"BLUE": disks["BLUE"]}, card)
    assert unlisted_or_wrong(disks["RED"], expected(card)) == []
    taken(Taking(disks, stages=stages), card)
    whole(disks, card)


class Reader:
    """Answers unbuffered openings of one path with a stream that misbehaves."""

    def __init__(
        self, monkeypatch: pytest.MonkeyPatch, name: str, stream: Callable[[Path, int], Any]
    ) -> None:
        opened = opening.open_plain
        self.count = 0

        def answered(path: Path, *arguments: Any, **options: Any) -> Any:
            if path.name == name and not options.get("buffered"):
                self.count += 1
                made = stream(path, self.count)
                if made is not None:
                    return made
            return opened(path, *arguments, **options)

        monkeypatch.setattr(opening, "open_plain", answered)


class Stuttering(io.BytesIO):
    """Reads well up to a place, and fails there; ``then`` is done just before."""

    def __init__(self, data: bytes, at: int, then: Callable[[], object] = lambda: None) -> None:
        super().__init__(data)
        self._at = at
        self._then = then

    def readinto(self, buffer: Any) -> int:
        if self.tell() >= self._at:
            self._then()
            raise OSError(errno.EIO, "Input/output error")
        data = self.read(min(len(buffer), self._at - self.tell()))
        buffer[: len(data)] = data
        return len(data)


def test_a_reader_that_fails_twice_in_the_middle_and_then_works_costs_nothing(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = (card / "DCIM/100NOCTU/NOCT0002.WAV").read_bytes()
    reader = Reader(
        monkeypatch,
        "NOCT0002.WAV",
        lambda _path, count: Stuttering(data, 100_000 * count) if count < 3 else None,
    )
    disks = two()
    outcome = taken(Taking(disks, stages=stages), card)
    assert (outcome.failed, reader.count) == ([], 3)
    whole(disks, card)


def test_a_file_that_cannot_be_read_is_told_and_the_others_are_taken(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    disks = two()
    data = (card / "DCIM/100NOCTU/NOCT0002.WAV").read_bytes()
    with monkeypatch.context() as patch:
        Reader(patch, "NOCT0002.WAV", lambda _path, _count: Stuttering(data, 100_000))
        outcome = taken(Taking(disks, stages=stages), card)
    ((path, text),) = [(note.path, note.text) for note in outcome.failed]
    assert (path, text) == ("DCIM/100NOCTU/NOCT0002.WAV", "cannot be read: Input/output error")
    assert outcome.copied == 5
    for disk in disks.values():
        assert len(masters(disk)) == 5
        assert unlisted_or_wrong(disk, expected(card)) == []
        assert disk.files("incoming") == []
    assert taken(Taking(disks, stages=stages), card).copied == 1
    for disk in disks.values():
        assert masters(disk) == expected(card)


def test_a_card_that_vanishes_in_the_middle_of_a_file_leaves_what_was_taken_and_goes_on_when_it_is_back(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    disks = two()
    want = expected(card)
    away = card.with_name("away")
    data = (card / "DCIM/100NOCTU/NOCT0002.WAV").read_bytes()
    with monkeypatch.context() as patch:
        vanishing = Stuttering(data, 100_000, lambda: card.rename(away))
        Reader(patch, "NOCT0002.WAV", lambda _path, _count: vanishing)
        outcome = taken(Taking(disks, stages=stages), card)
    assert len(outcome.failed) == 6 - outcome.copied
    assert outcome.copied >= 1
    for disk in disks.values():
        assert unlisted_or_wrong(disk, want) == []
    away.rename(card)
    again = taken(Taking(disks, stages=stages), card)
    assert again.failed == []
    assert again.copied + len(again.held) == 6
    for disk in disks.values():
        assert masters(disk) == want


def test_a_file_that_changes_while_it_is_read_is_not_kept(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch, changing: set[str]
) -> None:
    changing.add("DCIM/100NOCTU/NOCT0002.WAV")
    disks = two()
    path = card / "DCIM/100NOCTU/NOCT0002.WAV"

    def growing(_path: Path, _count: int) -> None:
        with path.open("ab") as stream:
            stream.write(b"more")

    with monkeypatch.context() as patch:
        Reader(patch, "NOCT0002.WAV", growing)
        outcome = taken(Taking(disks, stages=stages), card)
    assert [(note.path, note.text) for note in outcome.failed] == [
        ("DCIM/100NOCTU/NOCT0002.WAV", "it changed while it was being read")
    ]
    for disk in disks.values():
        assert "100NOCTU/NOCT0002.WAV" not in masters(disk)
    taken(Taking(disks, stages=stages), card)
    for disk in disks.values():
        assert masters(disk) == expected(card)


def test_bytes_under_a_planned_name_that_are_not_the_card_s_are_left_and_told(
    card: Path, stages: StageMaker
) -> None:
    """As a drive may leave them that said it had synced and had not."""
    disks = two()
    disks["RED"].faults = refuse("publish masters/")
    taken(Taking(disks, stages=stages), card)
    disks["RED"].faults = lambda _what: None
    (record,) = [name for name in disks["RED"].files("incoming") if name.endswith(".json")]
    target = next(p for p in disks["BLUE"].names if p.endswith("NOCT0003.JPG"))
    writing = disks["RED"].begin(target)
    writing.write(b"not that picture")
    writing.finish()
    outcome = taken(Taking(disks, stages=stages), card)
    (note,) = outcome.failed
    assert note.path.endswith("NOCT0003.JPG")
    assert "on RED does not match the card; neither was changed" in note.text
    assert bytes(disks["RED"].names[target].data) == b"not that picture"
    assert "100NOCTU/NOCT0003.JPG" not in listed(disks["RED"])
    assert record


def refuse(part: str) -> Callable[[str], None]:
    def refusing(what: str) -> None:
        if what.startswith(part):
            raise OSError(errno.EIO, "Input/output error")

    return refusing


def test_every_master_is_stated_once_whatever_the_number_of_runs(card: Path, stages: StageMaker) -> None:
    disks = two()
    for _ in range(3):
        taken(Taking(disks, stages=stages), card)
    assert [len(roll["files"]) for roll in statements([disks["BLUE"]])] == [6]
    whole(disks, card)
