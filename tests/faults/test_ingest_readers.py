"""Readers that die in any call, bad sectors in headers, and what was put in place of a file since."""

from __future__ import annotations

import errno
import io
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pytest
from support.cards import BEGIN, archive_in, contents, put, site_of, tiny_card
from support.disks import MemoryDisk
from support.stopping import Stop, stop
from support.takings import Taking, masters, unlisted_or_wrong
from support.tinydng import tiny_dng

from archive.errors import Exit, UsageError
from archive.ingest import opening
from archive.ingest.card import looked_at, read_card
from archive.ingest.rereading import reread_card
from archive.ingest.setting import Outcome
from archive.ingest.stages import StageMaker, inline, threaded
from archive.ingest.unfinished import read_unfinished
from archive.store.readback import read_back

BAD = "NOCT0002.JPG"
EIO = OSError(errno.EIO, "Input/output error")


@pytest.fixture(params=[inline, threaded], ids=["inline", "threads"])
def stages(request: pytest.FixtureRequest) -> StageMaker:
    made: StageMaker = request.param
    return made


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Path]:
    made = tiny_card(tmp_path / "card", 4)
    before = contents(made)
    yield made
    assert contents(made) == before


def outcome_of(taking: Taking, card: Path) -> Outcome:
    (outcome,) = taking.take(card)
    assert isinstance(outcome, Outcome), outcome
    return outcome


def expected(card: Path) -> dict[str, bytes]:
    return {path.removeprefix("DCIM/"): data for path, (data, _) in contents(card).items()}


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_reader_that_dies_in_any_stat_costs_one_file_and_not_the_run(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """From the copying's first, second or third look at the file on, every look at it fails."""
    opened, looked = opening.open_plain, Path.stat
    looks: list[bool] = []
    copying = False

    def opens(path: Path, **options: Any) -> BinaryIO:
        nonlocal copying
        copying = copying or (path.name == BAD and not options.get("buffered"))
        if copying and path.name == BAD and number == 3:
            raise EIO
        return opened(path, **options)

    def stats(path: Path, **options: Any) -> os.stat_result:
        if path.name == BAD and copying:
            looks.append(True)
            if len(looks) >= min(number, 2):
                raise EIO
        return looked(path, **options)

    disk = MemoryDisk()
    with monkeypatch.context() as patch:
        patch.setattr(opening, "open_plain", opens)
        patch.setattr(Path, "stat", stats)
        outcome = outcome_of(Taking({"BLUE": disk}, stages=stages), card)
    assert looks
    assert [(note.path, note.text) for note in outcome.failed] == [
        (f"DCIM/100NOCTU/{BAD}", "cannot be read: Input/output error")
    ]
    assert outcome.copied == 3
    assert unlisted_or_wrong(disk, expected(card)) == []
    again = outcome_of(Taking({"BLUE": disk}, stages=stages), card)
    assert (again.copied, again.failed) == (1, [])
    assert masters(disk) == expected(card)


def test_a_reader_whose_stat_fails_once_costs_nothing(
    card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked, failed = Path.stat, []

    def stats(path: Path, **options: Any) -> os.stat_result:
        if path.name == BAD and not failed:
            failed.append(True)
            raise EIO
        return looked(path, **options)

    disk = MemoryDisk()
    with monkeypatch.context() as patch:
        patch.setattr(Path, "stat", stats)
        outcome = outcome_of(Taking({"BLUE": disk}, stages=stages), card)
    assert failed
    assert (outcome.failed, outcome.copied) == ([], 4)


def test_a_card_folder_that_cannot_be_looked_at_is_told_and_an_absent_one_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(UsageError, match="There is nothing at"):
        looked_at(tmp_path / "none")

    def stats(path: Path, **_options: Any) -> os.stat_result:
        raise EIO

    with monkeypatch.context() as patch:
        patch.setattr(Path, "stat", stats)
        with pytest.raises(Exception, match="cannot be read: Input/output error"):
            read_card(tmp_path)


class BadFrom(io.FileIO):
    """A file whose medium gives nothing from a place on."""

    def __init__(self, path: Path, place: int) -> None:
        super().__init__(path, "rb")
        self._place = place

    def readinto(self, buffer: Any) -> int:
        left = self._place - self.tell()
        if left <= 0:
            raise EIO
        view = memoryview(buffer)[:left]
        count = super().readinto(view)
        return count or 0

    def readall(self) -> bytes:
        raise EIO


def bad_from(name: str, place: int) -> Callable[..., BinaryIO]:
    opened = opening.open_plain

    def opens(path: Path, *, buffered: bool = False) -> BinaryIO:
        if path.name != name:
            return opened(path, buffered=buffered)
        raw = BadFrom(path, place)
        return io.BufferedReader(raw) if buffered else raw  # type: ignore[return-value]

    return opens


@pytest.fixture
def raw_card(card: Path) -> Iterator[Path]:
    """With a raw file of 170 kB."""
    mosaic = np.random.default_rng(5).integers(600, 9000, (240, 360), dtype=np.uint16)
    made = put(card, "DCIM/100NOCTU/NOCT0009.DNG", tiny_dng(mosaic), modified=BEGIN)
    yield card
    made.unlink()


@pytest.mark.parametrize("place", [0, 100, 70_000], ids=["head", "directory", "picture data"])
def test_a_bad_sector_costs_its_file_and_neither_the_program_nor_the_card(
    raw_card: Path, stages: StageMaker, monkeypatch: pytest.MonkeyPatch, place: int
) -> None:
    disk = MemoryDisk()
    with monkeypatch.context() as patch:
        patch.setattr(opening, "open_plain", bad_from("NOCT0009.DNG", place))
        outcome = outcome_of(Taking({"BLUE": disk}, stages=stages), raw_card)
        patch.setattr("archive.ingest.rereading.read_back", failing_for("NOCT0009.DNG"))
        reading = reread_card(raw_card, lambda *_: None)
    ((path, text),) = [(note.path, note.text) for note in outcome.failed]
    assert (path, text) == ("DCIM/100NOCTU/NOCT0009.DNG", "cannot be read: Input/output error")
    assert (outcome.copied, outcome.damaged) == (4, [])
    missed = [i.path for i in reading.items if i.fault] + [note.path for note in reading.failed]
    assert missed == ["DCIM/100NOCTU/NOCT0009.DNG"]
    again = outcome_of(Taking({"BLUE": disk}, stages=stages), raw_card)
    assert (again.copied, again.failed) == (1, [])


def failing_for(name: str) -> Callable[[Path], Any]:
    def reads(path: Path, **options: Any) -> Any:
        if path.name == name:
            raise EIO
        return read_back(path, **options)

    return reads


def test_a_link_swapped_in_after_the_card_was_looked_at_is_not_followed(
    tmp_path: Path, stages: StageMaker
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    secret = put(tmp_path, "secret", (card / "DCIM/100NOCTU" / BAD).read_bytes())
    os.utime(secret, ns=((card / "DCIM/100NOCTU" / BAD).stat().st_mtime_ns,) * 2)

    class Swapping(Taking):
        def take(self, *cards: Path) -> Any:
            (card / "DCIM/100NOCTU" / BAD).unlink()
            (card / "DCIM/100NOCTU" / BAD).symlink_to(secret)
            return super().take(*cards)

    found = read_card(card)
    taking = Swapping({"BLUE": MemoryDisk()}, stages=stages)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("archive.ingest.run.read_source", lambda *_: found)
        outcome = outcome_of(taking, card)
    ((path, text),) = [(note.path, note.text) for note in outcome.failed]
    assert path == f"DCIM/100NOCTU/{BAD}"
    assert text.startswith("cannot be read: ")
    assert secret.read_bytes() not in masters(taking.disks["BLUE"]).values()


def test_what_has_a_planned_name_is_a_clash_of_that_file_and_not_a_fault_of_the_volume(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 4)
    with archive_in(tmp_path / "a") as workspace:
        site = site_of(workspace)
        with monkeypatch.context() as patch, pytest.raises(Stop):
            patch.setattr("archive.ingest.run._copy_all", stop)
            workspace.ingest.take([card], site=site)
        (record,) = read_unfinished(workspace.books.home.disk).values()
        folder = tmp_path / "a/masters" / record.rolls[0].folder / "100NOCTU"
        folder.mkdir(parents=True)
        (folder / "NOCT0001.JPG").symlink_to(tmp_path / "elsewhere")
        (folder / "NOCT0002.JPG").mkdir()
        os.mkfifo(folder / "NOCT0003.JPG")
        (report,) = workspace.ingest.take([card], site=site)
        assert [note.path for note in report.failed] == [f"DCIM/100NOCTU/NOCT000{n}.JPG" for n in (1, 2, 3)]
        for note in report.failed:
            assert f"{note.path[-12:]} on BLUE does not match the card; neither was changed" in note.text
        assert (report.copied, report.waiting, report.exit_code) == (1, (), Exit.ATTENTION)
        assert not (tmp_path / "elsewhere").exists()
        (again,) = workspace.ingest.take([card], site=site)
        assert (again.copied, len(again.held), again.failed) == (3, 1, ())
        assert len(workspace.frames("2026-03-18")) == 4
