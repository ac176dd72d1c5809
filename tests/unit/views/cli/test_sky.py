"""Sky and activity, as typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from support.exports import SEQUENCE, studio

from archive.views.cli.app import app


def test_sky_and_activity_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = studio(tmp_path)
    place.workspace.close()
    monkeypatch.chdir(place.root)
    index = tmp_path / "kp.txt"
    index.write_text("2026 03 18 21.0 22.50 34410 34410.5 4.333 32 1\n")

    def typed(*words: str) -> str:
        app(list(words), standalone_mode=False)
        return " ".join(capsys.readouterr().out.split())

    assert "1 intervals, 2026-03-18 to 2026-03-18, Kp up to 4.3" in typed("activity", "import", str(index))
    told = typed("sky", "2026-03-18")
    for part in ("River bend", "astronomical night from", "22h Kp 4+", "not for navigation"):
        assert part in told
    assert json.loads(typed("sky", "2026-12-21", "--json"))["sky"]["sun"]["reason"] == "the sun does not rise"
    assert "dark" in typed("nights")
    assert "dark" not in typed("nights", "--no-sky")
    shown = typed("show", f"{SEQUENCE}#1")
    assert "night, sun -" in shown
    assert "activity Kp 4+" in shown
