"""Mending, as it is typed and told."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import archive_in, spoil
from support.surveys import PREVIEW, SLICES, document

from archive.store.surveys import write_survey
from archive.views.cli.app import app
from archive.workspace import open_archive

FOLDER = "survey/north-7c1f9a2e"


def test_what_was_mended_and_what_could_not_be_is_told_by_volume_and_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    archive_in(tmp_path / "a").close()
    made = document()
    with open_archive(tmp_path / "a", also=[tmp_path / "b"]) as workspace:
        for volume in workspace.books.volumes:
            write_survey(
                volume.disk, FOLDER, {made.slices.path: SLICES, made.frames[0].preview.path: PREVIEW}, made
            )
    spoil(tmp_path / "b" / FOLDER / made.slices.path)
    for volume in "ab":
        spoil(tmp_path / volume / FOLDER / made.frames[0].preview.path)
    monkeypatch.chdir(tmp_path / "a")
    code = app(["mend"], standalone_mode=False)
    told = capsys.readouterr().out
    assert "1 file mended, 2 could not be." in told
    assert f"b: {FOLDER}/{made.slices.path} is damaged: its bytes do not match its record" in told
    assert f"BLUE: {FOLDER}/{made.frames[0].preview.path}" in told
    assert "no mounted volume holds it sound" in told
    assert code == 1
