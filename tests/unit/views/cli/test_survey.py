"""The survey, as typed."""

from __future__ import annotations

import json
from typing import Any

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.views.cli.app import app


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    made = studio(tmp_path_factory.mktemp("survey"))
    made.workspace.close()
    return made


@pytest.fixture
def typed(place: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str) -> str:
        monkeypatch.chdir(place.root)
        app(list(words), standalone_mode=False)
        return capsys.readouterr().out

    return run


def test_a_night_is_surveyed_and_told(typed: Any) -> None:
    assert "6 frames measured." in typed("survey")
    told = typed("survey", SEQUENCE)
    for part in ("0 frames measured, 6 held already", "brightness, stops", SEQUENCE):
        assert part in told
    answer = json.loads(typed("survey", SEQUENCE, "--json"))
    assert answer["report"]["held"] == 6
    assert len(answer["surveyed"][0]["lines"]) == 6
