"""Breaking, joining and naming sequences, as typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.exports import SEQUENCE, studio

from archive.views.cli.app import app


def test_a_sequence_is_broken_joined_and_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = studio(tmp_path, frames=12)
    place.workspace.close()
    monkeypatch.chdir(place.root)

    def typed(*words: str) -> str:
        app(list(words), standalone_mode=False)
        return capsys.readouterr().out

    assert "2026-03-18/one/2" in typed("sequence", "break", f"{SEQUENCE}#7")
    assert "Late arc" in typed("sequence", "title", "2026-03-18/one/2", "Late arc")
    (line,) = json.loads(typed("sequence", "join", "2026-03-18/one/2", "--json"))
    assert (line["number"], line["frames"], line["title"]) == (1, 12, "Late arc")
