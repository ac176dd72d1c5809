"""Commands about recipes inside one process: what they print for people."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.errors import UsageError
from archive.views.cli.app import app

FRAME = f"{SEQUENCE}#2"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("commands"))
    made.workspace.close()
    yield made


@pytest.fixture
def typed(place: Studio, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str) -> str:
        monkeypatch.chdir(place.root)
        app(list(words), standalone_mode=False)
        return str(capsys.readouterr().out)

    return run


def version(text: str) -> str:
    return text.partition("version ")[2][:10]


def test_finish_ramps_and_lines_are_told_in_words(typed: Any, tmp_path: Path) -> None:
    typed("recipe", "set", FRAME, "exposure.stops=0.5")
    assert "finish sharpness-1: sharpness.amount 0.40" in typed(
        "recipe", "finish", "add", FRAME, "sharpness", "amount=0.4"
    )
    assert "switched off" in typed("recipe", "finish", "switch", FRAME, "sharpness-1", "--off")
    assert "0.60" in typed("recipe", "finish", "adjust", FRAME, "sharpness-1", "amount=0.6")
    assert "Nothing changed" in typed("recipe", "finish", "move", FRAME, "sharpness-1", "--to", "1")
    assert "sharpness-1" in typed("recipe", "finish", "list", FRAME)
    assert "finish: nothing" in typed("recipe", "finish", "remove", FRAME, "sharpness-1")
    ramp = ("recipe", "ramp")
    told = typed(*ramp, "add", SEQUENCE, "exposure.stops", "#1=0.5", "#6=-0.5")
    assert "shared by 6 frames" in told
    assert "anchors  #1 +0.50 stops   #6 −0.50 stops" in told
    assert "#5 −0.50 stops" in typed(*ramp, "move", SEQUENCE, "exposure.stops", "#6", "--to", "#5")
    assert "→ linear" in typed(*ramp, "bend", SEQUENCE, "exposure.stops", "--rule", "linear")
    assert "Written:" in typed(*ramp, "show", SEQUENCE, "--to", str(tmp_path / "ramps.svg"))
    assert "2 anchors" in typed(*ramp, "remove", SEQUENCE, "exposure.stops", "#5")
    assert "no longer ramps" in typed(*ramp, "drop", SEQUENCE, "exposure.stops", "--value", "0.1")
    assert "begins and is the current one" in typed("recipe", "line", "start", FRAME, "print")
    assert "is called calendar now" in typed("recipe", "line", "rename", FRAME, "print", "--to", "calendar")
    assert "* calendar" in typed("recipe", "line", "list", FRAME)
    assert "the line main speaks now" in typed("recipe", "line", "use", FRAME, "main")


def test_house_recipes_are_kept_started_from_and_passed_on(typed: Any, tmp_path: Path) -> None:
    typed("recipe", "set", f"{SEQUENCE}#3", "exposure.stops=0.7")
    assert "Quiet arc is kept." in typed("recipe", "house", "save", f"{SEQUENCE}#3", "Quiet arc")
    assert "exposure +0.70 stops" in typed("recipe", "house", "list")
    path = tmp_path / "arc.json"
    assert "Written:" in typed("recipe", "house", "write", "Quiet arc", "--to", str(path))
    assert "off the list" in typed("recipe", "house", "remove", "Quiet arc")
    assert "Quiet arc is kept." in typed("recipe", "house", "add", str(path))
    assert "exposure +0.70 stops" in typed("recipe", "house", "start", f"{SEQUENCE}#4", "Quiet arc")


def test_texts_the_journal_and_taking_back(typed: Any) -> None:
    assert "title written: 1 frame." in typed("text", FRAME, "--title", "Ice and arc")
    assert "Nothing changed: that is so already." in typed("text", FRAME, "--title", "Ice and arc")
    told = typed("text", FRAME, "--title", "", "--creator", "Ingrid")
    assert "creator written; title taken off: 1 frame." in told
    typed("text", FRAME, "--title", "Ice and arc")
    assert "Ice and arc" in typed("show", FRAME)
    typed("rate", FRAME, "--rating", "5")
    (newest,) = json.loads(typed("journal", "--newest", "1", "--json").partition("=>")[0])["lines"]
    assert newest["about"].startswith("rated 5: ")
    assert newest["entry"]["id"][7:15] in typed("journal", "--newest", "1")
    assert "was taken back" in typed("take-back", newest["entry"]["id"][7:15])
    assert "rated 0: " in typed("journal", "--newest", "1")


def test_versions_are_noted_changed_compared_and_brought_back(typed: Any) -> None:
    name = f"{SEQUENCE}#5"
    first = version(typed("recipe", "set", name, "exposure.stops=-0.5"))
    typed("recipe", "set", name, "exposure.stops=-0.83")
    assert typed("recipe", "changes", name, first) == "exposure −0.50 → −0.83 stops\n"
    assert "noted on version" in typed("recipe", "note", name, first, "the better one")
    assert "“the better one”" in typed("recipe", "history", name)
    assert "ΔE2000" in typed("recipe", "compare", name, first, "--size", "100")
    assert "−0.83 → −0.50 stops" in typed("recipe", "reinstate", name, first)
    assert "own version" in typed("recipe", "show", name, "--why")
    assert "Nothing is contested" in typed("recipe", "settle", name, "--show")
    with pytest.raises(UsageError, match="names no operator and version"):
        typed("recipe", "settle", name, "--operator", "exposure")


def test_operators_give_programs_their_numbers_and_the_schema_of_their_values(typed: Any) -> None:
    everything = json.loads(typed("operators", "--json"))
    (balance,) = json.loads(typed("operators", "balance", "--json"))
    assert balance in everything
    source, kelvin, _ = balance["parameters"]
    assert source["choices"] == ["as_shot", "illuminant", "daylight"]
    assert (source["low"], source["ramp"]) == (None, False)
    assert [kelvin[key] for key in ("low", "high", "neutral", "step")] == [2000, 15000, 5500, 50]
    assert (kelvin["unit"], kelvin["ramp"], kelvin["scale"]) == ("K", True, "reciprocal")
    assert kelvin["range"] == "2000 K to 15000 K; neutral 5500 K"
    about = balance["schema"]["properties"]["kelvin"]
    assert (about["type"], about["minimum"], about["maximum"]) == ("number", 2000, 15000)
    assert balance["schema"]["required"] == ["source", "kelvin", "duv"]
