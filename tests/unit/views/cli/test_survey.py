"""The survey, as typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError
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


def test_keogram_rush_and_suggestions_are_made(typed: Any, tmp_path: Path, place: Studio) -> None:
    typed("survey")
    assert "6 steps" in typed("keogram", SEQUENCE, "--to", str(tmp_path / "k.png"))
    with pytest.raises(UsageError, match="is there already"):
        typed("keogram", SEQUENCE, "--to", str(tmp_path / "k.png"))
    assert "1 step." in typed("keogram", f"{SEQUENCE}#1", "--to", str(tmp_path / "one.png"))
    assert (tmp_path / "k.png").read_bytes().startswith(b"\x89PNG")
    assert json.loads(typed("keogram", SEQUENCE, "--plain", "--json"))["gaps"] == 0
    assert (place.root / "2026-03-18-one-1-keogram.png").exists()
    assert "6 frames, 0.2 s" in typed("rush", SEQUENCE, "--to", str(tmp_path / "r.mp4"))
    assert (tmp_path / "r.mp4").stat().st_size > 500
    assert "NOCT000" in typed("suggest", SEQUENCE, "--count", "2")
    assert len(json.loads(typed("suggest", SEQUENCE, "--count", "1", "--json"))["found"]) == 1


def test_what_rests_on_a_part_of_the_frames_says_so_and_ends_with_1(
    place: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(place.root)

    def ends(*words: str) -> tuple[int, str]:
        # Outside the standalone mode the library gives the code of an exit back.
        code = app(list(words), standalone_mode=False)
        return code or 0, capsys.readouterr().out

    assert ends("survey")[0] == 0
    preview = sorted((place.root / "survey").glob("*/previews/*"))[0]
    kept = preview.read_bytes()
    preview.unlink()
    code, text = ends("rush", SEQUENCE, "--to", str(tmp_path / "r.mp4"))
    assert (code, text.splitlines()[1:]) == (
        1,
        [
            "Only 5 of 6 frames: 1 has no sound preview or slice.",
            f"`noctuary survey {SEQUENCE}` measures them and makes what is missing.",
        ],
    )
    assert ends("suggest", SEQUENCE)[0] == 0
    assert ends("survey", SEQUENCE)[0] == 0
    assert preview.read_bytes() == kept
    assert ends("rush", SEQUENCE, "--to", str(tmp_path / "s.mp4"))[0] == 0
    document = next((place.root / "survey").glob("*/measures-*.json"))
    document.unlink()
    assert ends("survey", f"{SEQUENCE}#1..4")[0] == 0
    for words in (["suggest"], ["keogram", "--to", str(tmp_path / "k.png")]):
        code, text = ends(words[0], SEQUENCE, *words[1:])
        assert code == 1
        assert "Only 4 of 6 frames: 2 are not surveyed." in text
    code, text = ends("rush", SEQUENCE, "--json", "--to", str(tmp_path / "t.mp4"))
    told = json.loads(text)
    assert (code, told["frames"], told["basis"]["unseen"]) == (1, 4, 2)
    assert ends("survey")[0] == 0


def test_a_sequence_is_levelled_and_the_levelling_dropped(typed: Any) -> None:
    typed("survey")
    assert "Nothing was stated" in typed("level", SEQUENCE, "--dry-run")
    assert "never in stills" in typed("level", SEQUENCE, "--region", "0,0.5,1,1")
    assert "levelled so already" in typed("level", SEQUENCE, "--region", "0,0.5,1,1")
    assert "is not levelled any more" in typed("level", SEQUENCE, "--drop")
    for wrong in ("1,2", "0,0,0,1", "a,b,c,d", "0,0,1,nan"):
        with pytest.raises(UsageError, match="is no region"):
            typed("level", SEQUENCE, "--region", wrong)
