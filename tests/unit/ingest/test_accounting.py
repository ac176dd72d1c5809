"""Every file of a card, accounted for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.cards import archive_in, put, site_of, tiny_card

from archive.errors import Exit
from archive.store.digest import digest_at
from archive.workspace import open_archive


def test_files_of_the_report_are_the_files_of_the_card_with_where_they_lie(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    with archive_in(tmp_path / "a") as workspace:
        (first,) = workspace.ingest.take([card], site=site_of(workspace), card="A07")
        put(card, "DCIM/100NOCTU/NOCT0003.TXT", b"new")
        (second,) = workspace.ingest.take([card], site=site_of(workspace))
        copies = workspace.books.catalogue.copies(second.files[0].digest)
    assert [(file.path, file.state) for file in second.files] == [
        ("DCIM/100NOCTU/NOCT0001.JPG", "held"),
        ("DCIM/100NOCTU/NOCT0002.JPG", "held"),
        ("DCIM/100NOCTU/NOCT0003.TXT", "copied"),
    ]
    assert [file.state for file in first.files] == ["copied", "copied"]
    for file in second.files:
        assert file.digest == digest_at(card / file.path)
        assert digest_at(tmp_path / "a/masters" / file.kept) == file.digest
        assert file.volumes == ("BLUE",)
    assert copies[0].path == second.files[0].kept == first.files[0].kept
    assert (first.card, first.person) == ("A07", "Ingrid")
    assert first.started <= first.ended


def test_a_file_on_two_volumes_names_both(tmp_path: Path) -> None:
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a", also=[tmp_path / "RED"]) as workspace:
        (report,) = workspace.ingest.take([tiny_card(tmp_path / "card", 1)])
    assert [file.volumes for file in report.files] == [("BLUE", "RED")]


@pytest.mark.parametrize("kind", ["empty files", "unreadable files"])
def test_a_card_nothing_came_of_is_on_record_each_time(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tmp_path / "card"
    put(card, "DCIM/100NOCTU/NOCT0001.JPG", b"" if kind == "empty files" else b"bytes")
    if kind == "unreadable files":

        def broken(*_: object) -> None:
            raise OSError(5, "Input/output error")

        monkeypatch.setattr("archive.ingest.card._examine", broken)
    with archive_in(tmp_path / "a") as workspace:
        for runs in (1, 2):
            (report,) = workspace.ingest.take([card], site=site_of(workspace))
            assert report.exit_code is Exit.ATTENTION
            entries = sorted((tmp_path / "a/journal").rglob("*-ingest-*.json"))
            assert len(entries) == runs
        (change,) = json.loads(entries[-1].read_bytes())["changes"]
        assert change["layer"] == "card"
        assert [note["path"] for note in change["value"]["failed"]] == ["DCIM/100NOCTU/NOCT0001.JPG"]
        before = workspace.books.catalogue.dump()
        workspace.custody.rebuild(lambda *_: None)
        assert workspace.books.catalogue.dump() == before


def test_a_card_whose_only_trouble_is_an_empty_file_is_told_each_time_and_stated_once(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    put(card, "DCIM/100NOCTU/NOCT0009.JPG", b"")
    with archive_in(tmp_path / "a") as workspace:
        reports = [workspace.ingest.take([card], site=site_of(workspace))[0] for _ in range(2)]
    assert [report.exit_code for report in reports] == [Exit.ATTENTION, Exit.ATTENTION]
    assert [len(report.failed) for report in reports] == [1, 1]
    assert len(list((tmp_path / "a/journal").rglob("*-ingest-*.json"))) == 1
