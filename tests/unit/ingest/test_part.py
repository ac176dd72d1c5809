"""Taking cards into an archive."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.cards import archive_in, site_of, tiny_card

from archive.errors import ArchiveError
from archive.store.durable import LocalDisk
from archive.workspace import open_archive


def test_cards_are_taken_one_after_another_and_each_is_told(tmp_path: Path) -> None:
    cards = [
        tiny_card(tmp_path / "one", 5),
        tiny_card(tmp_path / "two", 5, serial="000999", model="Two", first=20),
    ]
    told: list[str] = []
    with archive_in(tmp_path / "a") as workspace:
        reports = workspace.ingest.take(
            cards, site=site_of(workspace), told=lambda report: told.append(report.source)
        )
        assert told == [str(card) for card in cards]
        assert [report.sequences for report in reports] == [("2026-03-18/one/1",), ("2026-03-18/two/1",)]
        assert workspace.ingest.unfinished() == []


def test_every_volume_is_locked_and_not_only_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    locked: list[str] = []
    lock = LocalDisk.lock

    @contextmanager
    def noted(self: LocalDisk, name: str, purpose: str) -> Iterator[None]:
        if name == "ingest":
            locked.append(self.root.name)
        with lock(self, name, purpose):
            yield

    archive_in(tmp_path / "a").close()
    monkeypatch.setattr(LocalDisk, "lock", noted)
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        workspace.ingest.take([tiny_card(tmp_path / "card", 1)])
    assert sorted(locked) == ["a", "b"]


def test_a_volume_that_cannot_be_written_is_refused_before_the_card_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: LocalDisk, path: str) -> None:
        raise OSError(30, "Read-only file system")

    with archive_in(tmp_path / "a") as workspace:
        monkeypatch.setattr(LocalDisk, "begin", refuse)
        with pytest.raises(ArchiveError) as caught:
            workspace.ingest.take([tiny_card(tmp_path / "card", 1)])
    assert "BLUE at" in caught.value.message
    assert "Read-only file system" in caught.value.message
    assert "the card was not read" in caught.value.hint


def test_a_card_label_of_bytes_that_are_no_text_is_kept_escaped(tmp_path: Path) -> None:
    label = b"A\xff7".decode("utf-8", "surrogateescape")
    with archive_in(tmp_path / "a") as workspace:
        (report,) = workspace.ingest.take([tiny_card(tmp_path / "card", 1)], card=label)
        value = workspace.books.catalogue.stated(f"roll:{report.rolls[0].id}", "ingest")
        entries = [e for e in workspace.books.log.read_new(set()) if getattr(e, "kind", "") == "ingest"]
    stated = value or entries[0].changes[0].value  # type: ignore[union-attr]
    assert stated["card"] == "A\\xff7"


def test_a_volume_is_made_known_once(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 1)
    with archive_in(tmp_path / "a") as workspace:
        workspace.ingest.take([card])
        workspace.ingest.take([card])
    assert len(list((tmp_path / "a/journal").rglob("*-volume-*.json"))) == 1
