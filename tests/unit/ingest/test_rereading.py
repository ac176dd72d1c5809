"""A card read whole, and copied nowhere."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import contents, put, tiny_card

from archive.errors import UsageError
from archive.ingest.card import read_card
from archive.ingest.rereading import reread_card
from archive.store.digest import digest_at
from archive.store.ports import Grade
from archive.store.readback import read_back


def test_every_file_that_is_not_ignored_has_its_digest_and_nothing_changes(tmp_path: Path) -> None:
    card = tiny_card(tmp_path / "card", 2)
    put(card, "a\x1b.txt", b"strange name")
    put(card, "Thumbs.db", b"litter")
    put(card, "DCIM/empty.jpg", b"")
    before = contents(card)
    told: list[tuple[str, int, int]] = []
    reading = reread_card(card, lambda *step: told.append(step))
    found = {item.path: item.digest for item in reading.items}
    assert found == {
        "DCIM/100NOCTU/NOCT0001.JPG": digest_at(card / "DCIM/100NOCTU/NOCT0001.JPG"),
        "DCIM/100NOCTU/NOCT0002.JPG": digest_at(card / "DCIM/100NOCTU/NOCT0002.JPG"),
        "a\\x1b.txt": digest_at(card / "a\x1b.txt"),
    }
    assert [note.path for note in reading.ignored] == ["Thumbs.db"]
    assert [note.path for note in reading.failed] == ["DCIM/empty.jpg"]
    stage, done, total = told[-1]
    assert stage == "Reading the card" and done == total > 0
    assert contents(card) == before


def test_the_weakest_reading_grades_the_card_and_a_file_that_cannot_be_read_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 3)
    grades = {"NOCT0001.JPG": Grade.DIRECT, "NOCT0002.JPG": Grade.CACHED}

    def graded(path: Path, **_options: object) -> tuple[str, Grade]:
        if path.name not in grades:
            raise OSError(5, "Input/output error")
        return read_back(path)[0], grades[path.name]

    monkeypatch.setattr("archive.ingest.rereading.read_back", graded)
    reading = reread_card(card, lambda *_: None)
    assert reading.grade == "cached"
    assert [item.fault for item in reading.items] == [
        None,
        None,
        "cannot be read on the card (Input/output error)",
    ]


def test_a_card_without_files_has_no_grade_and_a_file_is_no_card(tmp_path: Path) -> None:
    assert reread_card(tmp_path, lambda *_: None).grade is None
    (tmp_path / "file").touch()
    with pytest.raises(UsageError, match="is a file"):
        reread_card(tmp_path / "file", lambda *_: None)


def test_a_link_swapped_in_after_the_card_was_looked_at_proves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tiny_card(tmp_path / "card", 2)
    found = read_card(card)
    swapped = card / "DCIM/100NOCTU/NOCT0002.JPG"
    swapped.rename(tmp_path / "elsewhere")
    swapped.symlink_to(tmp_path / "elsewhere")
    monkeypatch.setattr("archive.ingest.rereading.read_card", lambda *_: found)
    reading = reread_card(card, lambda *_: None)
    assert [item.digest is None for item in reading.items] == [False, True]
    assert reading.items[1].fault is not None
