"""The commands for the journal, and for uniting, inside one process."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.cards import archive_in, spoil
from support.exports import SEQUENCE, studio

from archive.errors import Exit
from archive.views.cli.app import app


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    place = studio(tmp_path)
    place.workspace.statements.rate([f"{SEQUENCE}#2"], 4)
    place.workspace.close()
    monkeypatch.chdir(place.root)

    def run(*words: str) -> tuple[str, int]:
        answer = app(list(words), standalone_mode=False)
        return capsys.readouterr().out, int(answer or 0)

    return run


def test_the_journal_is_told_in_words_and_as_json(typed: Any) -> None:
    out, code = typed("journal", "--newest", "1")
    assert code == 0
    assert "rated 4: NOCT0002.JPG" in " ".join(out.split())
    view = json.loads(typed("journal", "--json")[0])
    assert view["lines"][0]["about"] == "rated 4: NOCT0002.JPG"
    assert view["faults"] == []
    assert json.loads(typed("journal", "--faults", "--json")[0])["lines"] == []


def test_a_damaged_entry_is_told_and_the_code_says_so(typed: Any, tmp_path: Path) -> None:
    (path,) = (tmp_path / "archive/journal").rglob("*-rating-*.json")
    spoil(path)
    typed("rebuild")
    out, code = typed("journal", "--faults")
    assert code == Exit.ATTENTION
    assert path.name in "".join(out.split())


def test_an_archive_begun_apart_needs_a_word_to_be_taken_in(typed: Any, tmp_path: Path) -> None:
    other = archive_in(tmp_path / "other", "GREEN")
    other.statements.add_site("Fjord", 69.0, 19.0, 5.0, "Europe/Oslo")
    other.close()
    out, code = typed("unite", str(tmp_path / "other"))
    assert (code, "begun apart" in out) == (Exit.REFUSED, True)
    assert "Fjord" not in typed("site", "list")[0]
    out, code = typed("unite", str(tmp_path / "other"), "--different", "--json")
    report = json.loads(out)
    assert (code, report["done"], report["entries"]) == (0, True, 2)
    assert "Fjord" in typed("site", "list")[0]
