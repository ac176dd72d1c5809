"""Volumes made ready for an ingest."""

from __future__ import annotations

import errno
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest
from support.cards import archive_in, contents, site_of, tiny_card

from archive.errors import ArchiveError, Exit
from archive.ingest import readying
from archive.ingest.readying import make_ready
from archive.store.durable import LocalDisk
from archive.store.writing import LocalWriting
from archive.workspace import Workspace, open_archive

FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.fixture
def pair(tmp_path: Path) -> Callable[[], Workspace]:
    archive_in(tmp_path / "a").close()
    open_archive(tmp_path / "a", also=[tmp_path / "b"]).close()
    return lambda: open_archive(tmp_path / "a", also=[tmp_path / "b"])


def full(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Nothing more can be written on the volumes of these names."""
    write = LocalWriting.write

    def refusing(self: LocalWriting, block: bytes | memoryview) -> None:
        if self._path.parent.parent.name in names:
            raise FULL
        write(self, block)

    monkeypatch.setattr(LocalWriting, "write", refusing)


@pytest.mark.parametrize("which", ["a", "b"])
def test_a_volume_that_is_full_from_the_start_is_left_out_and_named(
    which: str, pair: Callable[[], Workspace], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The run ended for all volumes with "No space left on device", which named none."""
    card = tiny_card(tmp_path / "card", 2)
    name = {"a": "BLUE", "b": "b"}[which]
    with pair() as workspace:
        site = site_of(workspace)
        full(monkeypatch, which)
        (report,) = workspace.ingest.take([card], site=site)
        assert (report.copied, report.failed, report.exit_code) == (2, (), Exit.ATTENTION)
        (told,) = report.waiting
        assert told.startswith(
            f"{name} was left out: {name} at {tmp_path / which} cannot be written: No space left on device. "
            "Nothing was brought there;"
        )
    assert not list((tmp_path / which).rglob("*.part"))
    assert not list((tmp_path / which / "masters").rglob("*.JPG"))
    monkeypatch.undo()
    with pair() as workspace:
        (report,) = workspace.ingest.take([card], site=site)
        assert (report.waiting, report.failed, len(report.held)) == ((), (), 2)
    assert len(list((tmp_path / which / "masters").rglob("*.JPG"))) == 2


def test_where_no_volume_can_be_written_the_card_is_refused_and_each_is_named(
    pair: Callable[[], Workspace], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    before = contents(card)
    with pair() as workspace:
        full(monkeypatch, "a", "b")
        with pytest.raises(ArchiveError) as caught:
            workspace.ingest.take([card])
    assert caught.value.exit_code is Exit.REFUSED
    for name, folder in (("BLUE", "a"), ("b", "b")):
        assert f"{name} at {tmp_path / folder} cannot be written: No space left" in caught.value.message
    assert contents(card) == before


def test_a_volume_whose_lock_fails_is_left_out(
    pair: Callable[[], Workspace], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock = LocalDisk.lock

    def failing(self: LocalDisk, name: str, purpose: str) -> object:
        if self.root.name == "b" and name == "ingest":
            raise ArchiveError("No lock works on this volume: Operation not supported.")
        return lock(self, name, purpose)

    with pair() as workspace:
        monkeypatch.setattr(LocalDisk, "lock", failing)
        (report,) = workspace.ingest.take([tiny_card(tmp_path / "card", 1)])
        assert report.copied == 1
        assert "b at " in report.waiting[0] and "No lock works on this volume" in report.waiting[0]


@pytest.mark.parametrize("home_fails", [True, False])
def test_the_volume_that_fails_while_journals_are_united_is_the_one_that_is_left(
    home_fails: bool, pair: Callable[[], Workspace], monkeypatch: pytest.MonkeyPatch
) -> None:
    with pair() as workspace, ExitStack() as locks:
        books = workspace.books
        names = [volume.name for volume in books.volumes]

        def failing(*_arguments: object, **_options: object) -> None:
            if home_fails:
                full(monkeypatch, "a")
            raise FULL

        monkeypatch.setattr(readying, "unite", failing)
        (left,) = make_ready(books, locks)
        assert left.volume.name == names[0 if home_fails else 1]
        assert [volume.name for volume in books.volumes] == [names[1 if home_fails else 0]]


def test_a_journal_that_cannot_be_written_on_one_volume_leaves_that_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace, ExitStack() as locks:
        begin = LocalDisk.begin

        def failing(self: LocalDisk, path: str) -> LocalWriting:
            if self.root.name == "b" and "journal" in path:
                raise FULL
            return begin(self, path)

        monkeypatch.setattr(LocalDisk, "begin", failing)
        (left,) = make_ready(workspace.books, locks)
        assert left.volume.name == "b"


def test_an_only_volume_whose_journal_fails_later_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with archive_in(tmp_path / "a") as workspace:
        begin = LocalDisk.begin

        def failing(self: LocalDisk, path: str) -> LocalWriting:
            if "journal" in path:
                raise FULL
            return begin(self, path)

        card = tiny_card(tmp_path / "card", 1)
        workspace.ingest.take([tiny_card(tmp_path / "other", 1, first=7)])
        monkeypatch.setattr(LocalDisk, "begin", failing)
        with pytest.raises(ArchiveError, match=r"BLUE cannot be written: No space left on device\."):
            workspace.ingest.take([card])


def test_someone_who_stops_listening_is_no_fault_of_a_volume(tmp_path: Path) -> None:
    def gone(_stage: str, _done: int, _total: int) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    with archive_in(tmp_path / "a") as workspace, pytest.raises(BrokenPipeError):
        workspace.ingest.take([tiny_card(tmp_path / "card", 1)], progress=gone)
