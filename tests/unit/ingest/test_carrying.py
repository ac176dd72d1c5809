"""Carrying out what was placed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.cards import archive_in, put, site_of, spoil, tiny_card, wav
from support.stopping import Stop, stop

from archive.errors import Exit
from archive.ingest import carrying, opening
from archive.store.durable import LocalDisk


def test_a_file_that_cannot_be_read_is_told_and_the_next_run_takes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 6)
    opened = opening.open_plain

    def third_fails(path: Path, *arguments: Any, **options: Any) -> Any:
        if path.name == "NOCT0003.JPG" and not options.get("buffered"):
            raise OSError(5, "Input/output error")
        return opened(path, *arguments, **options)

    with archive_in(tmp_path / "a") as workspace:
        with monkeypatch.context() as patch:
            patch.setattr(opening, "open_plain", third_fails)
            (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert [note.path for note in report.failed] == ["DCIM/100NOCTU/NOCT0003.JPG"]
        assert (report.copied, report.exit_code) == (5, Exit.ATTENTION)
        (again,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (again.copied, len(again.held), again.failed) == (1, 5, ())
        assert len(workspace.frames("2026-03-18")) == 6


def test_masters_are_durable_before_the_hash_list_and_that_before_the_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []
    publish, sync = LocalDisk.publish, LocalDisk.sync_folder

    def published(self: LocalDisk, source: str, target: str) -> None:
        publish(self, source, target)
        order.append(target)

    def synced(self: LocalDisk, path: str) -> None:
        sync(self, path)
        order.append(f"sync {path}")

    with archive_in(tmp_path / "a") as workspace:
        monkeypatch.setattr(LocalDisk, "publish", published)
        monkeypatch.setattr(LocalDisk, "sync_folder", synced)
        workspace.ingest.take([tiny_card(tmp_path / "card", 5)], site=site_of(workspace))

    def at(part: str, *, last: bool = False) -> int:
        found = [index for index, step in enumerate(order) if part in step]
        return found[-1 if last else 0]

    placed = next(i for i, s in enumerate(order) if s.startswith("incoming/") and s.endswith(".json"))
    synced_folder = next(i for i, s in enumerate(order) if s.startswith("sync masters/") and "100NOCTU" in s)
    assert placed < at("NOCT0001.JPG") < at("NOCT0005.JPG") < synced_folder
    assert synced_folder < at(".mhl") < at("ascmhl_chain.xml") < at("-ingest-")


def test_a_clip_s_and_a_frame_s_companions_are_recorded_with_it(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    put(card, "DCIM/100NOCTU/NOCT0002.WAV", wav())
    with archive_in(tmp_path / "a") as workspace:
        (report,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (report.rolls[0].files, report.rolls[0].frames) == (3, 2)
        frame = workspace.frame("NOCT0002.JPG")
        ((path, role),) = workspace.books.catalogue.companions(frame.id)
        assert (path.rpartition("/")[2], role) == ("NOCT0002.WAV", "sound")


def test_a_copy_damaged_between_two_runs_is_noticed_before_it_is_listed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    with archive_in(tmp_path / "a") as workspace:
        with monkeypatch.context() as patch, pytest.raises(Stop):
            patch.setattr(carrying, "record_generation", stop)
            workspace.ingest.take([card], site=site_of(workspace))
        (copy,) = (tmp_path / "a/masters").rglob("NOCT0002.JPG")
        spoil(copy)
        (report,) = workspace.ingest.take([card], site=site_of(workspace))
        ((path, text),) = [(note.path, note.text) for note in report.failed]
        assert path == "DCIM/100NOCTU/NOCT0002.JPG"
        assert "NOCT0002.JPG on BLUE does not match the card; neither was changed" in text
        assert report.exit_code is Exit.ATTENTION
        (again,) = workspace.ingest.take([card], site=site_of(workspace))
        assert (again.copied, len(again.held), again.failed) == (1, 2, ())
